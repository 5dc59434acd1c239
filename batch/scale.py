"""A value with its range on a scale of 0 to 100, in a line of text."""

from dataclasses import dataclass

WIDTH = 21
"""Columns: five of the hundred each (our choice)."""
HEAD = "0        50       100"


@dataclass(frozen=True, slots=True)
class ScaleMarks:
    """What a scale is drawn with, from the outside in."""

    empty: str
    low: str
    between: str
    high: str
    value: str


DRAWN = ScaleMarks("·", "├", "─", "┤", "●")
PLAIN = ScaleMarks(".", "[", "-", "]", "o")


def scale(value: float | None, low: float | None, high: float | None, marks: ScaleMarks) -> str:
    """Return ``··├─●──┤···``; nothing without a value. A range of one column is its value."""
    if value is None:
        return ""
    first, at, last = (_column(each, value) for each in (low, value, high))
    cells = [marks.empty] * WIDTH
    cells[first : last + 1] = [marks.between] * (last + 1 - first)
    cells[first], cells[last] = marks.low, marks.high
    cells[at] = marks.value
    return "".join(cells)


def _column(value: float | None, otherwise: float) -> int:
    chosen = otherwise if value is None else value
    return round(min(max(chosen, 0.0), 100.0) / 100 * (WIDTH - 1))
