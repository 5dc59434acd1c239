"""A value over days, weeks or months in a frame of its own: 0 to 100, with gaps where nothing was played."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise

from batch.trend.periods import Per, day_words, index_of, name_of
from batch.trend.rows import Stretch
from exporters.pictures.shapes import block
from exporters.pictures.svg import SMALL, path, quoted, short, width_of, words

STYLE = (
    "<style>"
    ".takemill .course{fill:none;stroke:#1f6f78;stroke-width:1.3;stroke-linejoin:round}"
    ".takemill .spot{fill:none;stroke:#1f6f78;stroke-width:4.4;stroke-linecap:round}"
    ".takemill .ring{fill:none;stroke:#59626a;stroke-width:4.2;stroke-linecap:round}"
    ".takemill .core{fill:none;stroke:#fff;stroke-width:2.6;stroke-linecap:round}"
    ".takemill .speck{fill:none;stroke:#8a939a;stroke-width:2;stroke-linecap:round}"
    ".takemill .reach{fill:#c3c9cd;stroke:none}"
    "</style>"
)
FULL = 100.0
_LEVELS = (0, 50, 100)
_WIDEST, _NARROWEST, _SHARE = 26.0, 0.8, 0.7
"""Points that a period's range is wide at most and at least, and its share of the period (our choice)."""
_SPOTS_FROM = 7.0
"""Points for each period with takes from which takes are rings and values have spots: with less, these would
hide the line (our choice)."""
_APART = 60.0
"""Points that the takes of a period lie apart at most, so that they stay by its range (our choice)."""
_AIR = 10.0
_WIDEST_DATE = date(2026, 11, 30)
_DAYS = {Per.DAY: 1, Per.WEEK: 7, Per.MONTH: 31}
_STEPS = {
    Per.DAY: (1, 2, 7, 14, 28, 91, 182, 364),
    Per.WEEK: (1, 2, 4, 8, 13, 26, 52, 104, 260),
    Per.MONTH: (1, 2, 3, 6, 12, 24, 60, 120),
}
"""Periods from one name under the axis to the next."""


@dataclass(frozen=True, slots=True)
class Frame:
    """A rectangle on the page."""

    left: float
    right: float
    top: float
    base: float

    def y(self, value: float) -> float:
        """Return where a value of 0 to 100 lies."""
        return self.base - min(max(value, 0.0), FULL) / FULL * (self.base - self.top)


@dataclass(frozen=True, slots=True)
class Axis:
    """Periods side by side, from number ``first`` to ``last``, with room for those that hold nothing."""

    per: Per
    first: int
    last: int

    @classmethod
    def of(cls, per: Per, stretches: Sequence[Stretch]) -> "Axis":
        """Return the axis from the earliest period to the latest."""
        numbers = [index_of(stretch.start, per) for stretch in stretches]
        return cls(per, min(numbers), max(numbers))

    def width(self, frame: Frame) -> float:
        """Return how wide a period is."""
        return (frame.right - frame.left) / (self.last + 1 - self.first)

    def x(self, start: date, frame: Frame) -> float:
        """Return where a period's middle is."""
        return frame.left + (index_of(start, self.per) - self.first + 0.5) * self.width(frame)

    def x_at(self, at: datetime, start: date, frame: Frame) -> float:
        """Return where a day of a period is."""
        part = ((at.date() - start).days + 0.5) / _DAYS[self.per]
        return self.x(start, frame) + (part - 0.5) * min(self.width(frame), _APART)


def grid(frame: Frame, *, numbers: bool) -> Iterator[str]:
    """Yield the lines at 0, 50 and 100, with their numbers on the left."""
    for level in _LEVELS:
        y = frame.y(level)
        yield path("hair" if level else "base", f"M{short(frame.left)} {short(y)}H{short(frame.right)}")
        if numbers:
            yield words(frame.left - 4, y + SMALL / 3, str(level), size=SMALL, kind="faint", end=True)


def names_under(axis: Axis, stretches: Sequence[Stretch], frame: Frame, y: float) -> Iterator[str]:
    """Yield the names of periods under the axis, as many as have room: the first and the last, then evenly.

    A week has the day that it begins on as well.
    """
    starts = {index_of(each.start, axis.per): each.start for each in stretches}
    room = max(width_of(text, SMALL) for text in _names(_WIDEST_DATE, axis.per)) + _AIR
    step = next((s for s in _STEPS[axis.per] if s * axis.width(frame) >= room), None)
    step = step or round(room / axis.width(frame)) + 1
    taken: list[float] = []
    for number in [axis.first, axis.last, *range(axis.first, axis.last + 1, step), *starts]:
        if number not in starts:
            continue
        at = axis.x(starts[number], frame)
        middle = min(max(at, frame.left + (room - _AIR) / 2), frame.right - (room - _AIR) / 2)
        if all(abs(middle - other) >= room for other in taken):
            taken.append(middle)
            yield path("base", f"M{short(at)} {short(frame.base)}v3")
            for line, text in enumerate(_names(starts[number], axis.per)):
                x = middle - width_of(text, SMALL) / 2
                yield words(x, y + line * (SMALL + 1.5), text, size=SMALL, kind="faint")


def _names(start: date, per: Per) -> tuple[str, ...]:
    return (day_words(start), name_of(start, per)) if per is Per.WEEK else (name_of(start, per),)


def levels(axis: Axis, stretches: Sequence[Stretch], frame: Frame) -> Iterator[str]:
    """Yield a period's takes as rings, their mean as a line across, and as a bar how far that may lie off.

    Where periods are too close for that, takes are specks and the means a line.
    """
    roomy = _is_roomy(stretches, frame)
    half = min(max(axis.width(frame) * _SHARE, _NARROWEST), _WIDEST) / 2
    known = [(each, each.variety) for each in stretches if each.variety]
    for stretch, level in known:
        if level.low is not None and level.high is not None:
            x, low, high = axis.x(stretch.start, frame), frame.y(level.low), frame.y(level.high)
            said = f"{stretch.name}: {level.mean:.0f}, {level.low:.0f} to {level.high:.0f}"
            data = block(x - half, x + half, low, max(low - high, _NARROWEST))
            yield f'<path class="reach" d="{data}"><title>{quoted(said)}</title></path>'
    takes = "".join(
        f"M{short(axis.x_at(take.at, stretch.start, frame))} {short(frame.y(take.score))}h0"
        for stretch, _ in known
        for take in stretch.takes
        if take.score is not None
    )
    if takes and not roomy:
        yield path("speck", takes)
    yield from _course([(stretch, level.mean) for stretch, level in known], axis, frame)
    if takes and roomy:
        yield path("ring", takes)
        yield path("core", takes)
        marks = [
            f"M{short(axis.x(stretch.start, frame) - half)} {short(frame.y(level.mean))}h{short(2 * half)}"
            for stretch, level in known
        ]
        yield path("mark", "".join(marks))


def course(
    axis: Axis, stretches: Sequence[Stretch], values: Sequence[float | None], frame: Frame
) -> Iterator[str]:
    """Yield a value's way from period to period, with a spot for each where they are not too close."""
    told = list(zip(stretches, values, strict=True))
    yield from _course(told, axis, frame)
    known = [(stretch, value) for stretch, value in told if value is not None]
    spots = "".join(
        f"M{short(axis.x(stretch.start, frame))} {short(frame.y(value))}h0"
        for (stretch, value), is_alone in zip(known, _alone([each for each, _ in known], axis), strict=True)
        if is_alone or _is_roomy(stretches, frame)
    )
    if spots:
        yield path("spot", spots)


def _is_roomy(stretches: Sequence[Stretch], frame: Frame) -> bool:
    return (frame.right - frame.left) / len(stretches) >= _SPOTS_FROM


def _course(told: Sequence[tuple[Stretch, float | None]], axis: Axis, frame: Frame) -> Iterator[str]:
    """Yield a line through neighbours; where a period holds nothing, it breaks."""
    data, before = "", None
    for stretch, value in told:
        if value is None:
            continue
        number = index_of(stretch.start, axis.per)
        letter = "L" if before == number - 1 else "M"
        data += f"{letter}{short(axis.x(stretch.start, frame))} {short(frame.y(value))}"
        before = number
    if "L" in data:
        yield path("course", data)


def _alone(stretches: Sequence[Stretch], axis: Axis) -> list[bool]:
    """Return of each period whether it has no neighbour, so that no line shows it."""
    numbers = [index_of(each.start, axis.per) for each in stretches]
    joined = [b == a + 1 for a, b in pairwise(numbers)]
    return [not (left or right) for left, right in zip([False, *joined], [*joined, False], strict=True)][
        : len(numbers)
    ]
