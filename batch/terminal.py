"""What people read: lines, tables and bars on a terminal, plain lines elsewhere."""

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.text import Text

from batch.columns import Column, console, print_table
from batch.entry import Entry
from batch.inert import inert
from batch.model import Analysis, Groove, LabelledPhrase, RelationKind
from batch.outcome import Did, Outcome
from batch.rank import BY_SCORE, Ranked
from batch.words import clock, count, grid_words, minute, number, share, signed, titles_of, variety_words

if TYPE_CHECKING:
    from batch.kept import Written
    from batch.standing import Standing

_STYLES = {
    Did.HEARD: "green",
    Did.WRITTEN: "green",
    Did.KNOWN: "dim",
    Did.LEFT: "yellow",
    Did.GONE: "dim",
    Did.FAILED: "bold red",
}
_UNHEARD = frozenset({Did.LEFT, Did.GONE, Did.FAILED})
_WORD_STYLES = {"failed": "red", "interrupted": "yellow"}
_STATUS_LINES = 50
"""Takes named of each kind; a school's archive has thousands."""
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


def say_outcome(outcome: Outcome) -> None:
    """Print one line for a take, failures to standard error."""
    console(errors=outcome.did in _UNHEARD).print(Text(outcome_line(outcome), style=_STYLES[outcome.did]))


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
    return f"{name}: {count(entry.phrases, 'phrase')}, {_variety_words(entry)}{groove}{done}"


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
    def advance(self) -> None:
        """Nothing to show."""


class _Bar:
    def __init__(self, bar: Progress, total: int) -> None:
        self._bar = bar
        self._task = bar.add_task("", total=total)

    def advance(self) -> None:
        self._bar.advance(self._task)


def print_ranking(ranked: Sequence[Ranked], by: str, *, failed: int = 0, more: int = 0) -> None:
    """Print takes in order, with the places each may hold and what to beware of; ``more`` are not shown."""
    if ranked:
        print_table(_ranking_columns(ranked))
    if more:
        notice = f"{count(more, 'take')} more; --first N shows N of them, --format csv all"
        console().print(Text(notice, style="dim"))
    for note in _ranking_notes(ranked, by, failed):
        console().print(Text(note, style="dim"))


def _ranking_columns(ranked: Sequence[Ranked]) -> list[Column]:
    entries = [row.entry for row in ranked]
    parts = [
        Column(head, [number((entry.parts or {}).get(name)) for entry in entries], gives_way=10 - place)
        for place, (name, head) in enumerate(_PART_HEADS.items())
    ]
    return [
        Column("place", [_places(row) for row in ranked], left=True),
        Column("take", titles_of(entries), left=True),
        Column("variety", [number(entry.score) for entry in entries]),
        Column("range", [_range(entry) for entry in entries], gives_way=3),
        *parts,
        Column("phrases", [str(entry.phrases or 0) for entry in entries], gives_way=1),
        Column("time", [clock(entry.duration_s or 0) for entry in entries], gives_way=2),
    ]


def _ranking_notes(ranked: Sequence[Ranked], by: str, failed: int) -> Iterator[str]:
    entries = [row.entry for row in ranked]
    if by != BY_SCORE:
        yield f"Sorted by {by.replace('_', ' ')}."
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
        for entry in entries[:_STATUS_LINES]:
            why = f": {inert(entry.reason)}" if entry.reason else ""
            out.print(Text(f"{word}: {inert(entry.path.name)}{why}", style=_WORD_STYLES.get(word, "")))
        if len(entries) > _STATUS_LINES:
            out.print(Text(f"{word}: {len(entries) - _STATUS_LINES} more", style="dim"))


def print_take(analysis: Analysis, path: Path) -> None:
    """Print one take: what it is, its variety, and its phrases with their evidence."""
    out = console()
    out.print(Text(inert(analysis.take.title or path.name), style="bold"))
    out.print(inert(f"{path.name}, {clock(analysis.take.duration_s)}, {grid_words(analysis)}"))
    out.print(inert(variety_words(analysis)))
    for warning in analysis.warnings:
        out.print(Text(inert(warning), style="yellow"))
    if analysis.phrases:
        print_table(_phrase_columns(analysis.phrases, in_beats=analysis.measured_on is not None))
        out.print(Text("~ close to the line between two labels", style="dim"))


def _phrase_columns(phrases: Sequence[LabelledPhrase], *, in_beats: bool) -> list[Column]:
    evidence = [phrase.evidence for phrase in phrases]
    durations = [e.duration_beats if in_beats else e.duration_s for e in evidence]
    densities = [e.notes_per_beat if in_beats else e.notes_per_s for e in evidence]
    return [
        Column("", [f"{number:02}" for number in range(1, len(phrases) + 1)]),
        Column("start", [minute(p.start_s) for p in phrases]),
        Column("length", [p.labels.length.value + _tilde("length", p) for p in phrases], left=True),
        Column("density", [p.labels.density.value + _tilde("density", p) for p in phrases], left=True),
        Column("groove", [_GROOVE_WORDS[p.labels.groove] + _tilde("groove", p) for p in phrases], left=True),
        *_device_columns(phrases),
        Column("beats" if in_beats else "s", [number(value, 1) for value in durations], gives_way=8),
        Column("n", [str(e.note_count) for e in evidence], gives_way=7),
        Column("/beat" if in_beats else "/s", [number(value, 1) for value in densities], gives_way=9),
        Column("art", [share(e.articulation) for e in evidence], gives_way=4),
        Column("sync", [share(e.syncopation) for e in evidence], gives_way=6),
        Column("off", [share(e.off_grid) for e in evidence], gives_way=2),
        Column("reg", [signed(e.register) for e in evidence], gives_way=5),
        Column("leap", [share(e.leap_share) for e in evidence], gives_way=3),
        Column("relation", [_relation(phrase) for phrase in phrases], left=True, gives_way=1),
    ]


def _device_columns(phrases: Sequence[LabelledPhrase]) -> list[Column]:
    """Return what puts phrases against the groove, and when it begins and lets go; nothing where none is."""
    devices = [phrase.evidence.devices for phrase in phrases]
    if not any(devices):
        return []
    names = [", ".join(dict.fromkeys(device.name for device in each)) for each in devices]
    spans = [f"{minute(each[0].start_s)}-{minute(each[-1].end_s)}" if each else "" for each in devices]
    return [Column("with", names, left=True, gives_way=10), Column("from-to", spans, left=True, gives_way=1)]


def _tilde(name: str, phrase: LabelledPhrase) -> str:
    return "~" if name in phrase.evidence.borderline else ""


def _relation(phrase: LabelledPhrase) -> str:
    relation = phrase.relation
    if relation.kind is RelationKind.NEW or relation.to_phrase is None:
        return ""
    return f"{relation.kind.value} {relation.to_phrase + 1:02}"


def _variety_words(entry: Entry) -> str:
    if entry.score is None:
        return f"no variety score: {entry.why_null}"
    return f"variety {entry.score:.0f} ({entry.low:.0f} to {entry.high:.0f})"


def _places(row: Ranked) -> str:
    place = row.place
    if place.value is None:
        return "-"
    return str(place.best) if place.best == place.worst else f"{place.best}-{place.worst}"


def _range(entry: Entry) -> str:
    return "" if entry.low is None else f"{entry.low:.0f}-{entry.high:.0f}"
