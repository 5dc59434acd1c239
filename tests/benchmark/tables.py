"""Tables as text, and each as a line of JSON."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

Cell = str | float | int | None


@dataclass(frozen=True, slots=True)
class Table:
    """A title, what the columns are called, rows of as many cells, and remarks under it."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    remarks: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.columns):
                raise ValueError(f"{self.title}: {len(row)} cells under {len(self.columns)} columns: {row}")

    def text(self) -> str:
        """Return the table for people. A column ``a: b`` stands as b under a."""
        heads = [column.split(": ", 1) if ": " in column else ["", column] for column in self.columns]
        upper = [above if i == 0 or above != heads[i - 1][0] else "" for i, (above, _) in enumerate(heads)]
        body = [[shown(cell) for cell in row] for row in self.rows]
        lower = [below for _, below in heads]
        widths = [max(map(len, column)) for column in zip(lower, *body, strict=True)]
        widths = widened(widths, upper)
        lines = [aligned(upper, widths)] if any(upper) else []
        lines += [aligned(cells, widths) for cells in (lower, *body)]
        return "\n".join([f"## {self.title}", "", *lines, "", *self.remarks]).rstrip() + "\n"

    def json_line(self) -> str:
        """Return the table for programs: one object with a row for each row."""
        rows = [dict(zip(self.columns, map(rounded, row), strict=True)) for row in self.rows]
        return json.dumps({"table": self.title, "rows": rows, "remarks": self.remarks})


def widened(widths: Sequence[int], upper: Sequence[str]) -> list[int]:
    """Return ``widths`` such that every upper heading has room over its own columns."""
    wide = list(widths)
    starts = [i for i, head in enumerate(upper) if head] + [len(upper)]
    for start, end in pairwise(starts):
        short = len(upper[start]) - sum(wide[start:end]) - 2 * (end - start - 1)
        wide[start] += max(0, short)
    return wide


def aligned(cells: Sequence[str], widths: Sequence[int]) -> str:
    """Return one line: the first cell to the left, the others to the right, headings over their columns."""
    line = cells[0].ljust(widths[0])
    for cell, width in zip(cells[1:], widths[1:], strict=True):
        line += "  " + cell.rjust(width)
    return line.rstrip()


def shown(cell: Cell) -> str:
    """Return a cell for people: scores with three places, larger numbers with fewer."""
    if cell is None:
        return "-"
    if isinstance(cell, float):
        return f"{cell:.3f}" if abs(cell) < 10 else f"{cell:.1f}" if abs(cell) < 100 else f"{cell:.0f}"
    return str(cell)


def rounded(cell: Cell) -> Cell:
    """Return a cell for programs."""
    return round(cell, 4) if isinstance(cell, float) else cell
