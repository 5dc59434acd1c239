"""SVG 1.1 as text: escaped words, how wide they may be, the frame of a picture.

A picture stands alone: no script, no reference to anything outside it. A unit is a point (1/72 inch), a page
as wide as A4 on its side.
"""

from collections.abc import Iterator
from functools import lru_cache
from unicodedata import east_asian_width
from xml.sax.saxutils import escape

from batch.inert import inert
from batch.names import SVG_MARK

WIDTH, HEIGHT = 842.0, 595.0
"""A4 (ISO 216) on its side, in points."""
MARGIN = 36.0
"""Half an inch, which printers leave white."""
LEFT, RIGHT = MARGIN, WIDTH - MARGIN
_WIDTH_MM, _HEIGHT_MM = 297, 210

SMALL, PLAIN, HEAD = 7.5, 9.0, 17.0
"""Sizes of type in points; 7 is the least that reads well on paper (common practice, no source)."""

_NARROW, _WIDE = set("iljI.,:;'|!()[]/ ft-"), set("mwMW@%+=<>~#&^")
_EM_NARROW, _EM_USUAL, _EM_CAPITAL, _EM_WIDE, _EM_FULL = 0.42, 0.65, 0.8, 1.0, 1.25
_BOLDER = 1.1
"""Widths in ems, at or above those of wide system fonts such as DejaVu Sans: no metrics are at hand."""
_LATIN = 0x0250

_STYLE = """
.takemill text{font-family:system-ui,sans-serif;font-variant-numeric:tabular-nums;fill:#20262b}
.takemill .strong{font-weight:bold}
.takemill .faint{fill:#59626a}
.takemill .hair{fill:none;stroke:#d9d6cd;stroke-width:.5}
.takemill .beat{fill:none;stroke:#e9e6df;stroke-width:.5}
.takemill .base{fill:none;stroke:#59626a;stroke-width:.75}
.takemill .range{fill:none;stroke:#a5adb3;stroke-width:5}
.takemill .mark{fill:none;stroke:#20262b;stroke-width:1.5}
.takemill .halo{fill:none;stroke:#fff;stroke-width:2.6;stroke-linejoin:round}
.takemill .arc{fill:none;stroke:#20262b;stroke-width:1;stroke-linejoin:round}
.takemill .in{fill:#1f6f78;stroke:#1f6f78}
.takemill .against{fill:#b4471f;stroke:#b4471f}
.takemill .none{fill:#6b6f76;stroke:#6b6f76;stroke-dasharray:2 1.5}
.takemill .dense{stroke:none}
.takemill .sparse{stroke-width:.9}
.takemill .none.dense{stroke:#fff;stroke-width:1.1}
.takemill .sparse{fill-opacity:.16}
"""


def words(x: float, y: float, text: str, *, size: float = PLAIN, kind: str = "", end: bool = False) -> str:
    """Return a line of text whose base line starts (or ends) at ``x``, inert and escaped."""
    classes = f' class="{kind}"' if kind else ""
    anchor = ' text-anchor="end"' if end else ""
    place = f'x="{short(x)}" y="{short(y)}" font-size="{short(size)}"'
    return f"<text {place}{classes}{anchor}>{quoted(text)}</text>"


def path(kind: str, data: str) -> str:
    """Return a path of a class."""
    return f'<path class="{kind}" d="{data}"/>'


def quoted(text: str) -> str:
    """Return a user's text so that it only shows itself."""
    return escape(inert(text))


def short(value: float) -> str:
    """Return a number to a tenth of a point."""
    return f"{value:.1f}".removesuffix(".0")


def width_of(text: str, size: float = PLAIN, *, strong: bool = False) -> float:
    """Return how wide a line may be at most, in points."""
    return _ems(text) * size * (_BOLDER if strong else 1.0)


@lru_cache(4096)  # the same few labels under two thousand phrases
def _ems(text: str) -> float:
    return sum(map(_em, text))


def _em(character: str) -> float:
    if character in _NARROW:
        return _EM_NARROW
    if character in _WIDE:
        return _EM_WIDE
    if ord(character) >= _LATIN or east_asian_width(character) in "WF":
        return _EM_FULL
    return _EM_CAPITAL if character.isupper() else _EM_USUAL


def cut(text: str, room: float, size: float = PLAIN, *, strong: bool = False) -> str:
    """Return as much of a line as fits, with dots for the rest."""
    text = inert(text)
    if width_of(text, size, strong=strong) <= room:
        return text
    while text and width_of(f"{text}…", size, strong=strong) > room:
        text = text[:-1]
    return f"{text.rstrip()}…"


def wrapped(text: str, room: float, size: float = PLAIN) -> Iterator[str]:
    """Yield a text in lines that fit, broken between words; a word too long for a line is cut."""
    line = ""
    for word in inert(text).split(" "):
        longer = f"{line} {word}" if line else word
        if line and width_of(longer, size) > room:
            yield line
            longer = word
        line = cut(longer, room, size)
    yield line


def picture(title: str, description: str, height: float, drawn: str) -> str:
    """Return a whole picture as an ``svg`` element, which stands in a page as well as alone."""
    height = max(height, HEIGHT)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" class="takemill" role="img"'
        f' width="{_WIDTH_MM}mm" height="{height * _HEIGHT_MM / HEIGHT:.1f}mm"'
        f' viewBox="0 0 {short(WIDTH)} {short(height)}">\n'
        f"<title>{quoted(title)}</title>\n<desc>{quoted(description)}</desc>\n<style>{_STYLE}</style>\n"
        f'<rect width="{short(WIDTH)}" height="{short(height)}" fill="#fff"/>\n{drawn}\n</svg>\n'
    )


def as_file(picture: str) -> bytes:
    """Return a picture as the bytes of a file of its own."""
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{SVG_MARK}\n{picture}'.encode()
