"""What the signs of a picture mean, in words."""

from collections.abc import Iterator

from batch.height import FULL_PER_BEAT, FULL_PER_S
from exporters.pictures.shapes import block
from exporters.pictures.svg import LEFT, SMALL, path, width_of, words

LINE = 13.0
"""Points from one line of the legend to the next; it has three."""
_SIGN, _SIGN_HEIGHT, _AIR, _APART = 16.0, 8.0, 4.0, 14.0

_SIGNS = {
    "in dense": "dense, in the groove",
    "in sparse": "sparse, in the groove",
    "against dense": "dense, against the groove",
    "against sparse": "sparse, against the groove",
}
_FILLS = "Filled: dense. Light, with an outline: sparse. Upright: in the groove. Leaning: against it."
_TENSION = "Line: tension, more of it the higher it runs."
_SECONDS = ", where a take has no sure beat"
_UNMEASURED = {"none dense": "groove unmeasured"}


def legend(y: float, *, beats: bool, seconds: bool, unmeasured: bool, tension: bool = False) -> Iterator[str]:
    """Yield the legend, whose first line stands at ``y``; it takes three."""
    x = LEFT
    for kind, meaning in _SIGNS.items() if not unmeasured else (_SIGNS | _UNMEASURED).items():
        full = _SIGN_HEIGHT if kind.startswith("against") else None
        yield path(kind, block(x, x + _SIGN, y, _SIGN_HEIGHT, full))
        x += _SIGN + _AIR
        yield words(x, y, meaning, size=SMALL)
        x += width_of(meaning, SMALL) + _APART
    fills = f"{_FILLS} {_TENSION}" if tension else _FILLS
    for at, line in enumerate((fills, _measures(beats=beats, seconds=seconds)), start=1):
        yield words(LEFT, y + at * LINE, line, size=SMALL, kind="faint")


def _measures(*, beats: bool, seconds: bool) -> str:
    told = [(beats, FULL_PER_BEAT, "beat"), (seconds, FULL_PER_S, "second")]
    height = ", or ".join(
        f"its notes a {unit}, full at {full:g} and more" for is_so, full, unit in told if is_so
    )
    return (
        f"Width: from a phrase's start to its end. Height: {height}{_SECONDS if beats and seconds else ''}."
    )
