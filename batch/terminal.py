"""What people read: lines, tables and bars on a terminal, plain lines elsewhere."""

import sys
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Literal, Protocol

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table
from rich.text import Text

from batch.catalogue import Entry, State
from batch.engine import Did, Outcome
from batch.model import Analysis, Groove, LabelledPhrase, RelationKind
from batch.rank import Ranked

PLAIN_WIDTH = 160
"""Columns of a table that goes to a file or a pipe."""

_STYLES = {Did.HEARD: "green", Did.WRITTEN: "green", Did.KNOWN: "dim", Did.FAILED: "bold red"}
_GROOVE_WORDS = {Groove.IN_GROOVE: "in", Groove.AGAINST_GROOVE: "against", Groove.UNMEASURED: "-"}

_PART_HEADS = {
    "length": "len",
    "density": "dens",
    "articulation": "artic",
    "groove": "groove",
    "register": "reg",
    "interval_size": "leaps",
}


class Tracker(Protocol):
    """Counts takes as they are done."""

    def advance(self) -> None:
        """One more take is done."""


def inert(text: str) -> str:
    """Return text without control characters, which a terminal would obey."""
    return "".join(c if c.isprintable() else "?" for c in text)


def console(*, errors: bool = False) -> Console:
    """Return a console for standard output or standard error.

    Colour only on a terminal, and never where NO_COLOR is set (no-color.org).
    """
    stream = sys.stderr if errors else sys.stdout
    width = None if stream.isatty() else PLAIN_WIDTH
    return Console(file=stream, width=width, highlight=False, markup=False, emoji=False, soft_wrap=True)


def say_outcome(outcome: Outcome) -> None:
    """Print one line for a take, failures to standard error."""
    failed = outcome.did is Did.FAILED
    console(errors=failed).print(Text(outcome_line(outcome), style=_STYLES[outcome.did]))


def outcome_line(outcome: Outcome) -> str:
    """Return what became of a take, in a line."""
    entry = outcome.entry
    name = inert(entry.path.name)
    if outcome.did is Did.FAILED:
        return f"{name}: {inert(entry.reason or '')}"
    done = "" if outcome.did is Did.HEARD else f" ({outcome.did.value})"
    if not entry.phrases:
        return f"{name}: no phrases; {'; '.join(entry.warnings[:1])}{done}"
    groove = "" if entry.tempo_bpm else ", no grid: groove unmeasured"
    return f"{name}: {_count(entry.phrases, 'phrase')}, {_variety_words(entry)}{groove}{done}"


def say(text: str) -> None:
    """Print a plain line."""
    console().print(Text(inert(text)))


def say_problem(text: str) -> None:
    """Print a problem to standard error, a line each."""
    for line in text.splitlines():
        console(errors=True).print(Text(f"takemill: {inert(line)}", style="bold red"))


@contextmanager
def progress(total: int, doing: str) -> Iterator[Tracker]:
    """Show a bar while takes are worked on, where standard error is a terminal; nothing elsewhere."""
    if total == 0 or not sys.stderr.isatty():
        yield _Silent()
        return
    columns = (TextColumn(doing), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console(errors=True), transient=True) as bar:
        yield _Bar(bar, total)


class _Silent:
    def advance(self) -> None:
        """Nothing to show."""


class _Bar:
    def __init__(self, bar: Progress, total: int) -> None:
        self._bar = bar
        self._task = bar.add_task("", total=total)

    def advance(self) -> None:
        self._bar.advance(self._task)


def print_ranking(ranked: Sequence[Ranked], by: str) -> None:
    """Print takes in order, with the places each may hold."""
    heads = ("place", "take", by, "range", *_PART_HEADS.values(), "phrases", "time")
    table = _table(*heads, words={"place"}, gives_way="take")
    for row in ranked:
        entry = row.entry
        parts = entry.parts or {}
        table.add_row(
            _places(row),
            Text(inert(entry.title or entry.path.name)),
            _number(row.value),
            "" if entry.low is None else f"{entry.low:.0f}-{entry.high:.0f}",
            *(_number(parts.get(name)) for name in _PART_HEADS),
            str(entry.phrases or 0),
            clock(entry.duration_s or 0),
        )
    console().print(table)
    shared = any(row.best_place != row.worst_place for row in ranked if row.value is not None)
    if shared:
        console().print(Text("Takes whose places overlap are not told apart.", style="dim"))
    for row in ranked:
        if row.value is None and row.entry.why_null:
            console().print(
                Text(f"{inert(row.entry.path.name)}: no score: {row.entry.why_null}", style="dim")
            )


def print_status(entries: Sequence[Entry]) -> None:
    """Print what is waiting, running, done and failed, and why."""
    counts = {state: sum(entry.state is state for entry in entries) for state in State}
    console().print(", ".join(f"{count} {state.value}" for state, count in counts.items()))
    for entry in entries:
        if entry.state in {State.RUNNING, State.WAITING}:
            console().print(f"{entry.state.value}: {inert(entry.path.name)}")
    for entry in entries:
        if entry.state is State.FAILED:
            console().print(
                Text(f"failed: {inert(entry.path.name)}: {inert(entry.reason or '')}", style="red")
            )


def print_take(analysis: Analysis, path: Path) -> None:
    """Print one take: what it is, its variety, and its phrases with their evidence."""
    out = console()
    out.print(Text(inert(analysis.take.title or path.name), style="bold"))
    out.print(f"{inert(path.name)}, {clock(analysis.take.duration_s)}, {_grid_words(analysis)}")
    out.print(_variety_of(analysis))
    for warning in analysis.warnings:
        out.print(Text(inert(warning), style="yellow"))
    if analysis.phrases:
        out.print(_phrase_table(analysis.phrases, in_beats=analysis.grid is not None))
        out.print(Text("~ close to the line between two labels", style="dim"))


def clock(time_s: float) -> str:
    """Return a time as m:ss, or h:mm:ss from an hour on."""
    minutes, seconds = divmod(round(time_s), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{seconds:02}" if hours else f"{minutes}:{seconds:02}"


def _phrase_table(phrases: Sequence[LabelledPhrase], *, in_beats: bool) -> Table:
    counts = ("beats", "n", "/beat") if in_beats else ("s", "n", "/s")
    heads = ("", "start", "length", "density", "groove", *counts, "art", "sync", "off", "reg", "leap")
    table = _table(*heads, "relation", words={"length", "density", "groove"}, gives_way="relation")
    for number, phrase in enumerate(phrases, start=1):
        evidence = phrase.evidence
        duration, density = (
            (evidence.duration_beats, evidence.notes_per_beat)
            if in_beats
            else (evidence.duration_s, evidence.notes_per_s)
        )
        table.add_row(
            f"{number:02}",
            f"{int(phrase.start_s // 60)}:{phrase.start_s % 60:04.1f}",
            *_labels(phrase),
            _number(duration, 1),
            str(evidence.note_count),
            _number(density, 1),
            _share(evidence.articulation),
            _share(evidence.syncopation),
            _share(evidence.off_grid),
            f"{evidence.register:+.0f}",
            _share(evidence.leap_share),
            _relation(phrase),
        )
    return table


def _labels(phrase: LabelledPhrase) -> Iterable[Text]:
    labels, near = phrase.labels, phrase.evidence.borderline
    against = "bold" if labels.groove is Groove.AGAINST_GROOVE else ""
    yield Text(labels.length.value + _tilde("length", near))
    yield Text(labels.density.value + _tilde("density", near))
    yield Text(_GROOVE_WORDS[labels.groove] + _tilde("groove", near), style=against)


def _tilde(name: str, near: Sequence[str]) -> str:
    return "~" if name in near else ""


def _relation(phrase: LabelledPhrase) -> str:
    relation = phrase.relation
    if relation.kind is RelationKind.NEW or relation.to_phrase is None:
        return ""
    return f"{relation.kind.value} {relation.to_phrase + 1:02}"


def _grid_words(analysis: Analysis) -> str:
    grid = analysis.grid
    if grid is None:
        return "no grid"
    swing = "" if grid.swing_ratio is None else f", swing {grid.swing_ratio:.1f}"
    return f"{grid.tempo_bpm:.0f} beats a minute from {grid.source}{swing}"


def _variety_of(analysis: Analysis) -> str:
    variety = analysis.variety
    if variety.score is None:
        return f"no variety score: {variety.why_null}"
    parts = ", ".join(f"{name.replace('_', ' ')} {_number(value)}" for name, value in variety.parts.items())
    return f"variety {variety.score:.0f} ({variety.low:.0f} to {variety.high:.0f}): {parts}"


def _variety_words(entry: Entry) -> str:
    if entry.score is None:
        return f"no variety score: {entry.why_null}"
    return f"variety {entry.score:.0f} ({entry.low:.0f} to {entry.high:.0f})"


def _places(row: Ranked) -> str:
    if row.value is None:
        return "-"
    if row.best_place == row.worst_place:
        return str(row.best_place)
    return f"{row.best_place}-{row.worst_place}"


def _number(value: float | None, decimals: int = 0) -> str:
    return "-" if value is None else f"{value:.{decimals}f}"


def _share(value: float | None) -> str:
    """Return a number of 0..1 as .07, to save a column."""
    return "-" if value is None else f"{value:.2f}".removeprefix("0")


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _table(*heads: str, words: Collection[str], gives_way: str) -> Table:
    """Return a table without lines; columns of ``words`` stand left, numbers right.

    Where the terminal is narrow the column ``gives_way`` is cut short, and no other.
    """
    table = Table(box=None, pad_edge=False, collapse_padding=True, header_style="dim")
    for head in heads:
        side: Literal["left", "right"] = "left" if head in words or head == gives_way else "right"
        table.add_column(head, justify=side, no_wrap=head != gives_way, overflow="ellipsis")
    return table
