"""What people read: lines, tables and bars on a terminal, plain lines elsewhere."""

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import groupby
from operator import itemgetter
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.text import Text

from batch import strip
from batch.charts import tells_unused
from batch.columns import console, draws, print_table
from batch.entry import Entry
from batch.inert import inert
from batch.model import Analysis, Groove
from batch.outcome import Did, Outcome
from batch.rank import BY_SCORE, Ranked
from batch.relation_words import relatedness_words
from batch.tables import phrase_columns, ranking_columns
from batch.tension_words import tension_words
from batch.ties import ties_of
from batch.words import count, facts, never_words, variety_words

if TYPE_CHECKING:
    from batch.kept import Written
    from batch.standing import Standing

_STYLES = {
    Did.HEARD: "green",
    Did.WRITTEN: "green",
    Did.KNOWN: "dim",
    Did.LEFT: "yellow",
    Did.PARTLY: "yellow",
    Did.GONE: "dim",
    Did.FAILED: "bold red",
}
_UNHEARD = frozenset({Did.LEFT, Did.GONE, Did.FAILED})
_WORD_STYLES = {"failed": "red", "interrupted": "yellow"}
_USUAL_REASONS = {"interrupted": "the next run hears it"}
_STATUS_LINES = 50
"""Takes named of each kind; a school's archive has thousands."""
_WIDEST_STRIP = 96
"""Columns of a drawn take, as wide as its table of phrases usually is."""
_GROOVE_STYLES = {Groove.IN_GROOVE: "cyan", Groove.AGAINST_GROOVE: "yellow", Groove.UNMEASURED: "dim"}
"""Colour only repeats the sign of the groove."""


class Tracker(Protocol):
    """Counts takes as they are done."""

    def advance(self, takes: int = 1) -> None:
        """One more take is done, or several."""


def say_outcome(outcome: Outcome) -> None:
    """Print one line for a take, failures to standard error."""
    console(errors=outcome.did in _UNHEARD).print(Text(outcome_line(outcome), style=_STYLES[outcome.did]))
    if outcome.did is Did.PARTLY:
        problem = inert(f"{outcome.entry.path.name}: {outcome.entry.reason}")
        console(errors=True).print(Text(problem, style=_STYLES[outcome.did]))


def outcome_line(outcome: Outcome) -> str:
    """Return what became of a take, in a line."""
    entry = outcome.entry
    name = inert(entry.path.name)
    if outcome.did in _UNHEARD:
        return f"{name}: {inert(entry.reason or '')}"
    done = "" if outcome.did is Did.HEARD else f" ({outcome.did.value})"
    if not entry.phrases:
        return f"{name}: {inert('; '.join(entry.warnings[:1])) or 'no phrases'}{done}"
    groove = "" if entry.tempo_bpm else ", no sure beat: groove unmeasured"
    chart = ", chord chart not used" if any(map(tells_unused, entry.warnings)) else ""
    return f"{name}: {count(entry.phrases, 'phrase')}, {_variety_words(entry)}{groove}{chart}{done}"


def say_session(session: "Written") -> None:
    """Print a line for a session's files, and one for each thing to know of its takes' places."""
    say(f"{session.name}: {count(session.takes, 'take')} as one session")
    for remark in session.remarks:
        console().print(Text(f"  {inert(remark)}", style="yellow"))


def say_index(index: "Written") -> None:
    """Print a line for a file about all takes of a folder."""
    say(f"{index.name}: {count(index.takes, 'take')} side by side")


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
    def advance(self, takes: int = 1) -> None:
        """Nothing to show."""


class _Bar:
    def __init__(self, bar: Progress, total: int) -> None:
        self._bar = bar
        self._task = bar.add_task("", total=total)

    def advance(self, takes: int = 1) -> None:
        self._bar.advance(self._task, takes)


def print_ranking(ranked: Sequence[Ranked], by: str, *, failed: int = 0, more: int = 0) -> None:
    """Print takes in order, with the places each may hold and what to beware of; ``more`` are not shown."""
    if ranked:
        print_table(ranking_columns(ranked, by))
    if more:
        notice = f"{count(more, 'take')} more; --first N shows N of them, --format csv all"
        console().print(Text(notice, style="dim"))
    for note in _ranking_notes(ranked, by, failed):
        console().print(Text(note, style="dim"))


def _ranking_notes(ranked: Sequence[Ranked], by: str, failed: int) -> Iterator[str]:
    entries = [row.entry for row in ranked]
    if by != BY_SCORE:
        yield f"Sorted by {by.replace('_', ' ')}."
    elif ties_of(entries):
        yield "A bracket joins takes that are not told apart: their ranges overlap."
    elif any(row.place.best != row.place.worst for row in ranked if row.place.value is not None):
        yield "Takes whose places overlap are not told apart."
    scored = [entry.parts or {} for entry in entries if entry.score is not None]
    if len({parts.get("groove") is None for parts in scored}) > 1:
        yield "Takes without a grid (-) are scored without the groove: compare the others with care."
    for entry in entries:
        if entry.why_null:
            yield f"{inert(entry.path.name)}: no score: {entry.why_null}"
    if failed:
        yield f"{count(failed, 'take')} failed; takemill status says why."


def print_status(standing: "Standing") -> None:
    """Print who is at work, what is waiting, running, done and failed, and why."""
    out = console()
    for line in standing.busy:
        out.print(Text(inert(line), style="green"))
    out.print(", ".join(f"{count} {state.value}" for state, count in standing.counts.items()))
    for word, entries in standing.unheard.items():
        for line in unheard_lines(word, entries[:_STATUS_LINES]):
            out.print(Text(inert(line), style=_WORD_STYLES.get(word, "")))
        if len(entries) > _STATUS_LINES:
            out.print(Text(f"{word}: {len(entries) - _STATUS_LINES} more", style="dim"))


def unheard_lines(word: str, entries: Sequence[Entry]) -> Iterator[str]:
    """Yield a line for each take with its reason; takes that share one are named under it."""
    reasons: dict[str, list[str]] = {}
    for entry in entries:
        reasons.setdefault(entry.reason or _USUAL_REASONS.get(word, ""), []).append(entry.path.name)
    for reason, names in reasons.items():
        if len(names) == 1:
            yield f"{word}: {names[0]}{f': {reason}' if reason else ''}"
        else:
            yield f"{word}: {count(len(names), 'take')}{f': {reason}' if reason else ''}"
            yield from (f"  {name}" for name in names)


def print_take(analysis: Analysis, path: Path) -> None:
    """Print one take: what it is, its variety, and its phrases with their evidence."""
    out = console()
    out.print(Text(inert(analysis.take.title or path.name), style="bold"))
    out.print(inert(facts(analysis)))
    out.print(inert(variety_words(analysis)))
    if never := never_words(analysis.variety):
        out.print(inert(never))
    for warning in analysis.warnings:
        out.print(Text(inert(warning), style="yellow"))
    if analysis.phrases:
        _print_strips(analysis, out)
        in_beats, tension = analysis.measured_on is not None, analysis.tension
        print_table(
            phrase_columns(analysis.phrases, in_beats=in_beats, tension=tension.phrases if tension else None)
        )
        out.print(Text("~ close to the line between two labels", style="dim"))
        for line in (*relatedness_words(analysis), *tension_words(analysis)):
            out.print(Text(inert(line)))


def _print_strips(analysis: Analysis, out: Console) -> None:
    """Draw the take: a line of blocks, of grooves, of numbers and of times for each stretch of it."""
    marks, in_beats = strip.DRAWN if draws() else strip.PLAIN, analysis.measured_on is not None
    width = min(out.width, _WIDEST_STRIP)
    drawn = strip.strips_of(analysis.phrases, analysis.take.duration_s, width, marks, in_beats=in_beats)
    for each in drawn:
        styles = [
            None if i is None else _GROOVE_STYLES[analysis.phrases[i].labels.groove] for i in each.shown
        ]
        out.print()
        for line in (each.blocks, each.grooves):
            out.print(_coloured(line, styles))
        out.print(Text(each.numbers))
        out.print(Text(each.ruler, style="dim"))
    legends = strip.legends(marks, {phrase.labels.groove for phrase in analysis.phrases}, in_beats=in_beats)
    if legend := next((legend for legend in legends if len(legend) <= width), ""):
        out.print(Text(legend, style="dim"))
    out.print()


def _coloured(line: str, styles: Sequence[str | None]) -> Text:
    text = Text()
    for style, cells in groupby(zip(styles, line, strict=True), key=itemgetter(0)):
        text.append("".join(cell for _, cell in cells), style=style)
    text.rstrip()
    return text


def _variety_words(entry: Entry) -> str:
    if entry.score is None:
        return f"no variety score: {entry.why_null}"
    return f"variety {entry.score:.0f} ({entry.low:.0f} to {entry.high:.0f})"
