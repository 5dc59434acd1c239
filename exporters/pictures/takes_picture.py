"""The picture of a folder's takes: their phrases and their variety beside one another."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from batch.entry import Entry
from batch.height import height_share
from batch.model import Groove
from batch.overview import Listed, Overview
from batch.ties import Tie, ties_of
from batch.words import clock, count, titles_of
from exporters.pictures.legend import LINE, legend
from exporters.pictures.rows import Row
from exporters.pictures.ruler import TICK, times
from exporters.pictures.scores import SCORES, score, score_head
from exporters.pictures.shapes import block, kind_of
from exporters.pictures.svg import (
    HEAD,
    HEIGHT,
    LEFT,
    MARGIN,
    RIGHT,
    SMALL,
    as_file,
    cut,
    path,
    picture,
    short,
    words,
)

MOST_TAKES = 60
"""Beyond that the picture is no longer looked through; the rest are counted (our choice)."""
MOST_UNHEARD = 20
ROW, LARGEST_ROW, BETWEEN = 36.0, 56.0, 12.0
"""Points from a take to the next, as many as the page has room for; those over a block of full height."""
SEEN = 0.8
"""Points that the shortest phrase is wide (our choice)."""
PLACES, TITLES, TITLES_END, BLOCKS, BLOCKS_END = LEFT + 16, LEFT + 64, 232.0, 240.0, SCORES - 20
_LANE = 4.0


@dataclass(frozen=True, slots=True)
class Scale:
    """How takes are drawn: points a second, and from one to the next."""

    per_s: float
    row: float

    @property
    def block(self) -> float:
        """Return the full height of a block."""
        return self.row - BETWEEN


@dataclass(frozen=True, slots=True)
class TakesPicture:
    """``phrases.svg``: a row a take, most varied first."""

    file_name: str = "phrases.svg"

    def render(self, overview: Overview) -> bytes:
        """Return SVG in UTF-8."""
        return as_file(overview_picture(overview))


def overview_picture(overview: Overview) -> str:
    """Return the picture as an ``svg`` element, to be set into a page that is printed."""
    takes = overview.takes[:MOST_TAKES]
    more = overview.more + len(overview.takes) - len(takes)
    said = _counted(len(takes) + more, len(overview.unheard))
    y = MARGIN + HEAD
    drawn = [words(LEFT, y, cut(overview.title, RIGHT - LEFT, HEAD, strong=True), size=HEAD, kind="strong")]
    y += LINE + 4
    drawn.append(words(LEFT, y, said))
    y += LINE
    notes = [*_more(more, takes), *_unheard(overview.unheard)]
    bottom = HEIGHT - MARGIN - 2 * LINE
    if takes:
        y += LINE
        room = bottom - LINE - len(notes) * LINE - LINE - y
        scale = Scale(_per_s(takes), min(max(room / len(takes), ROW), LARGEST_ROW))
        drawn += _table(takes, y, scale)
        y += len(takes) * scale.row + 2 * LINE
    drawn += [words(LEFT, y + i * LINE, note, size=SMALL) for i, note in enumerate(notes)]
    bottom = max(y + (len(notes) + 1) * LINE, bottom)
    drawn += _legend(takes, bottom)
    return picture(overview.title, said, bottom + 2 * LINE + MARGIN, "\n".join(drawn))


def _counted(takes: int, unheard: int) -> str:
    failed = f"; {count(unheard, 'take')} could not be heard" if unheard else ""
    if not takes:
        return f"No takes heard yet{failed}."
    return f"{count(takes, 'take')}, most varied first{failed}. All on one scale of time."


def _per_s(takes: Sequence[Listed]) -> float:
    return (BLOCKS_END - BLOCKS) / max([1.0, *(_length_s(take) for take in takes)])


def _table(takes: Sequence[Listed], y: float, scale: Scale) -> Iterator[str]:
    """Yield the heads at ``y`` and a row for each take."""
    per_s = scale.per_s
    yield words(PLACES, y, "place", size=SMALL, kind="faint")
    yield words(TITLES, y, "take", size=SMALL, kind="faint")
    yield from times(
        Row(0.0, (BLOCKS_END - BLOCKS) / per_s), lambda s: BLOCKS + s * per_s, per_s, y, BLOCKS_END
    )
    yield from score_head(y)
    entries = [take.entry for take in takes]
    top = y + TICK + 2
    for i, (take, title) in enumerate(zip(takes, titles_of(entries), strict=True)):
        yield from _row(take, title, top + i * scale.row, scale)
    for tie in ties_of(entries):
        yield _bracket(tie, top, scale.row)


def _row(take: Listed, title: str, top: float, scale: Scale) -> Iterator[str]:
    entry, base = take.entry, top + scale.row - 8
    middle = base - 12
    yield words(PLACES, middle, str(take.place), kind="strong")
    yield words(TITLES, middle, cut(title, TITLES_END - TITLES))
    facts = f"{clock(_length_s(take))}, {count(entry.phrases or 0, 'phrase')}"
    yield words(TITLES, base, facts, size=SMALL, kind="faint")
    yield path("base", f"M{short(BLOCKS)} {short(base)}H{short(BLOCKS + _length_s(take) * scale.per_s)}")
    if take.outline is None:
        yield words(BLOCKS, base - 3, "its analysis is gone; run takemill again", size=SMALL, kind="faint")
    else:
        yield from _blocks(take, base, scale)
    yield from score(entry, middle)


def _blocks(take: Listed, base: float, scale: Scale) -> Iterator[str]:
    """Yield a path for each kind of phrase: sixty takes may have thousands of them."""
    kinds: dict[str, list[str]] = {}
    outline, per_s, most = take.outline, scale.per_s, scale.block
    for phrase in outline.phrases if outline else ():
        x0 = min(BLOCKS + max(phrase.start_s, 0.0) * per_s, BLOCKS_END - SEEN)
        x1 = min(max(x0 + SEEN, BLOCKS + phrase.end_s * per_s), BLOCKS_END)
        tall = most * height_share(phrase.density, in_beats=outline is not None and outline.in_beats)
        full = most if phrase.labels.groove is Groove.AGAINST_GROOVE else None
        kinds.setdefault(kind_of(phrase.labels), []).append(block(x0, x1, base, tall, full))
    for kind, data in kinds.items():
        yield path(kind, "".join(data))


def _bracket(tie: Tie, top: float, row: float) -> str:
    x = PLACES - 5 - tie.lane * _LANE
    y0, y1 = top + tie.first * row + 6, top + (tie.last + 1) * row - 6
    return path("base", f"M{short(x + 2)} {short(y0)}H{short(x)}V{short(y1)}H{short(x + 2)}")


def _length_s(take: Listed) -> float:
    outline = take.outline
    ends = [outline.duration_s, *(phrase.end_s for phrase in outline.phrases[-1:])] if outline else []
    return max([take.entry.duration_s or 0.0, *ends])


def _more(more: int, takes: Sequence[Listed]) -> Iterator[str]:
    if ties_of([take.entry for take in takes]):
        yield "A bracket joins takes that are not told apart: their ranges overlap."
    elif any(take.place.best != take.place.worst for take in takes if take.place.value is not None):
        yield "Takes whose places overlap are not told apart."
    if more:
        yield f"and {count(more, 'take')} more, less varied or without a score"


def _unheard(entries: Sequence[Entry]) -> Iterator[str]:
    for entry in entries[:MOST_UNHEARD]:
        reason = f": {entry.reason}" if entry.reason else ""
        yield cut(f"could not be heard: {entry.path.name}{reason}", RIGHT - LEFT, SMALL)
    if len(entries) > MOST_UNHEARD:
        yield f"and {count(len(entries) - MOST_UNHEARD, 'take')} more that could not be heard"


def _legend(takes: Sequence[Listed], y: float) -> Iterator[str]:
    outlines = [take.outline for take in takes if take.outline and take.outline.phrases]
    grooves = {phrase.labels.groove for outline in outlines for phrase in outline.phrases}
    beats, seconds = any(o.in_beats for o in outlines), any(not o.in_beats for o in outlines)
    if outlines:
        yield from legend(y, beats=beats, seconds=seconds, unmeasured=Groove.UNMEASURED in grooves)
