"""What stands in the tables: of takes in their order, of a take's phrases."""

from collections.abc import Sequence

from batch import scale
from batch.columns import Column, draws
from batch.entry import Entry
from batch.model import Groove, LabelledPhrase, PhraseTension
from batch.rank import BY_SCORE, Ranked
from batch.relation_words import short_relation
from batch.ties import ties_of
from batch.words import clock, minute, number, share, signed, titles_of

_GROOVE_WORDS = {Groove.IN_GROOVE: "in", Groove.AGAINST_GROOVE: "against", Groove.UNMEASURED: "-"}
_BRACKETS, _PLAIN_BRACKETS = ("┌", "│", "└"), ("/", "|", "\\")
PART_HEADS = {
    "length": "len",
    "density": "dens",
    "articulation": "artic",
    "groove": "groove",
    "register": "reg",
    "interval_size": "leaps",
}


def ranking_columns(ranked: Sequence[Ranked], by: str) -> list[Column]:
    """Return a row a take, with the places it may hold; what gives way soonest is what says least."""
    entries = [row.entry for row in ranked]
    by_score = by == BY_SCORE
    parts = [
        Column(head, [number((entry.parts or {}).get(name)) for entry in entries], gives_way=10 - place)
        for place, (name, head) in enumerate(PART_HEADS.items())
    ]
    return [
        *(_tie_columns(entries) if by_score else ()),
        Column("place", [str(row.place) for row in ranked], left=True),
        Column("take", titles_of(entries), left=True, shortens=True),
        Column("variety", [number(entry.score) for entry in entries]),
        Column("range", [_range(entry) for entry in entries], gives_way=3),
        *(_scale_columns(entries) if by_score else ()),
        *parts,
        *_connectedness_columns(entries, by),
        Column("phrases", [str(entry.phrases or 0) for entry in entries], gives_way=1),
        Column("time", [clock(entry.duration_s or 0) for entry in entries], gives_way=2),
    ]


def _tie_columns(entries: Sequence[Entry]) -> list[Column]:
    """Return brackets that join neighbours which are not told apart; nothing where there are none."""
    ties = ties_of(entries)
    first, middle, last = _BRACKETS if draws() else _PLAIN_BRACKETS
    lanes = 1 + max((tie.lane for tie in ties), default=-1)
    cells = [[" "] * lanes for _ in entries]
    for tie in ties:
        for row in range(tie.first, tie.last + 1):
            cells[row][-1 - tie.lane] = first if row == tie.first else last if row == tie.last else middle
    return [Column("", ["".join(row) for row in cells], left=True)] if ties else []


def _scale_columns(entries: Sequence[Entry]) -> list[Column]:
    marks = scale.DRAWN if draws() else scale.PLAIN
    lines = [scale.scale(entry.score, entry.low, entry.high, marks) for entry in entries]
    return [Column(scale.HEAD, lines, left=True, gives_way=0)] if any(lines) else []


def _connectedness_columns(entries: Sequence[Entry], by: str) -> list[Column]:
    """Return the share of phrases that take up or answer an earlier one; it stays where it is sorted by."""
    cells = [number(entry.connectedness) for entry in entries]
    return [Column("conn", cells, gives_way=11 if by == "connectedness" else 1)]


def phrase_columns(
    phrases: Sequence[LabelledPhrase], *, in_beats: bool, tension: Sequence[PhraseTension] | None = None
) -> list[Column]:
    """Return a row a phrase: its labels, the numbers behind them, and its tension where that is given."""
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
        *([Column("tens", [share(each.value) for each in tension], gives_way=0)] if tension else ()),
        Column("also", [_also(phrase) for phrase in phrases], left=True, gives_way=0),
        Column("relation", [short_relation(phrase.relation) for phrase in phrases], left=True, gives_way=8),
    ]


def _device_columns(phrases: Sequence[LabelledPhrase]) -> list[Column]:
    """Return what puts phrases against the groove, and when it begins and lets go; nothing where none is."""
    devices = [phrase.evidence.devices for phrase in phrases]
    if not any(devices):
        return []
    names = [", ".join(dict.fromkeys(device.name for device in each)) for each in devices]
    spans = [f"{minute(each[0].start_s)}-{minute(each[-1].end_s)}" if each else "" for each in devices]
    return [Column("with", names, left=True, gives_way=10), Column("from-to", spans, left=True, gives_way=1)]


def _also(phrase: LabelledPhrase) -> str:
    """Return the labels that stand behind ``art``, ``reg`` and ``leap``."""
    named = {name: getattr(phrase.labels, name) for name in ("articulation", "register", "interval_size")}
    return " ".join(
        label.value + _tilde(name, phrase) for name, label in named.items() if label.value != "unmeasured"
    )


def _tilde(name: str, phrase: LabelledPhrase) -> str:
    return "~" if name in phrase.evidence.borderline else ""


def _range(entry: Entry) -> str:
    return "" if entry.low is None else f"{entry.low:.0f}-{entry.high:.0f}"
