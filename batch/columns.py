"""A console that behaves on terminals and in pipes, and tables that fit it."""

import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NoReturn

from rich.cells import cell_len
from rich.console import Console
from rich.text import Text

from batch.inert import inert

PLAIN_WIDTH = 160
"""Columns of a table that goes to a file or a pipe."""
_SHORTEST_NAME = 20
"""Cells that a name gets on the narrowest terminal: in fewer a gig's takes look alike (our choice)."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table. The lower ``gives_way``, the sooner it goes where room is short; None stays.

    One that ``shortens`` takes half of the room at most, or one long name would cost all rows their numbers.
    """

    head: str
    cells: Sequence[str]
    left: bool = False
    gives_way: int | None = None
    shortens: bool = False

    @property
    def width(self) -> int:
        """Return how many terminal cells the widest entry takes."""
        return max(cell_len(text) for text in (self.head, *self.cells))

    def cell(self, text: str) -> str:
        """Return ``text`` filled up to the column's width."""
        space = " " * (self.width - cell_len(text))
        return text + space if self.left else space + text


def shortened(text: str, cells: int) -> str:
    """Return a name in so many terminal cells: its middle goes, since many differ only in their ends."""
    if cell_len(text) <= cells:
        return text
    sign = "…" if draws() else "..."
    room = cells - cell_len(sign)
    start, end = text, text
    while cell_len(end) > room // 3:
        end = end[1:]
    while cell_len(start) > room - room // 3:
        start = start[:-1]
    return f"{start.rstrip()}{sign}{end.lstrip()}"


class _Console(Console):
    def on_broken_pipe(self) -> NoReturn:
        """Let the command line say what a reader who has seen enough means, instead of ending here."""
        raise BrokenPipeError


def console(*, errors: bool = False) -> Console:
    """Return a console for standard output or standard error.

    Colour only on a terminal, and never where NO_COLOR is set (no-color.org).
    """
    stream = sys.stderr if errors else sys.stdout
    width = None if stream is not None and stream.isatty() else PLAIN_WIDTH
    return _Console(file=stream, width=width, highlight=False, markup=False, emoji=False, soft_wrap=True)


def draws() -> bool:
    """Return whether standard output takes blocks and lines: its encoding has them, its terminal too."""
    if os.environ.get("TERM") == "dumb":
        return False
    try:
        "▁█╱─·├●┤┌│└".encode(getattr(sys.stdout, "encoding", None) or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def print_table(columns: Sequence[Column]) -> None:
    """Print columns without lines; where they do not fit, those that give way soonest are left out."""
    out = console()
    longest = max(_SHORTEST_NAME, out.width // 2)
    columns = [_shortened(column, longest) if column.shortens else column for column in columns]
    shown = list(columns)
    while sum(column.width + 1 for column in shown) - 1 > out.width:
        giving = [column for column in shown if column.gives_way is not None]
        if not giving:
            break
        shown.remove(min(giving, key=lambda column: column.gives_way or 0))
    heads = " ".join(column.cell(column.head) for column in shown)
    out.print(Text(heads.rstrip(), style="dim"))
    for row in range(len(columns[0].cells)):
        out.print(Text(inert(" ".join(column.cell(column.cells[row]) for column in shown).rstrip())))


def _shortened(column: Column, cells: int) -> Column:
    return replace(column, cells=[shortened(text, cells) for text in column.cells])
