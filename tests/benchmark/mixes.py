"""A lead with a band: how well the lead is followed, how sure takemill is of it, what it says.

And chords: how many notes are heard of a strum.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import mido
import numpy as np

from batch.hearing.training.noise import RATE_HZ, rms

from .annotated import annotated_takes
from .making.banks import Sound, events_of, on_bank
from .making.company import band
from .making.lines import LEAD_IN_S, invented
from .making.takes import Line, Made, Samples, Store, leveled, seed_of
from .scores import ONSET_S, note_match, onset_match
from .tables import Cell, Table
from .whole import Said, said_of

SECONDS = 20.0
BACKING_DB = (0.0, -6.0, -12.0)
LEADS = {"tenor": (66, 60), "jazz guitar": (26, 64), "trumpet": (56, 67)}  # program, centre
FROM_TAKES = 3  # annotated takes a mix is made of, where they are at hand
CHANNELS = (1, 2, 9)  # bass, chords, drums
PLACES = {  # how far left (-1) or right (1) the lead, bass, chords and drums are; None: one channel
    "mono": None,
    "all in the centre": (0.0, 0.0, 0.0, 0.0),
    "band to both sides": (0.0, 0.0, -0.8, 0.8),
    "lead left, band right": (-1.0, 1.0, 1.0, 1.0),
}
CHORDS = {"open": (0, 7, 12, 16, 19, 24), "close": (0, 4, 7, 10), "double stop": (0, 4)}
STRUM_S = 0.012  # from string to string (common practice, no source)


@dataclass(frozen=True, slots=True)
class Parts:
    """Lead, bass, chords and drums, each (n,) and as loud as it is beside the lead."""

    lead: Sound
    backing: tuple[Sound, ...]
    notes: Line


def mixes_table(store: Store, data: Path, only: str) -> Table:
    """Return a row a placing and level."""
    parts = dict(all_parts(store, data))
    takes: dict[str, tuple[Samples, int]] = {}
    for lead, one in parts.items():
        for place, places in PLACES.items():
            for level_db in BACKING_DB:
                name = f"{place}|{level_db:g}|{lead}"
                if only in name:
                    takes[name] = placed(one, places, level_db), RATE_HZ
    told = said_of(takes) if takes else {}
    truths = {lead: one.notes for lead, one in parts.items()}
    keys = dict.fromkeys(tuple(name.split("|")[:2]) for name in takes)
    rows = [mix_row(place, level, told, truths) for place, level in keys]
    columns = (
        "placing",
        "backing dB",
        "takes",
        "note F",
        "recall",
        "precision",
        "confidence",
        "warned",
        "said",
    )
    remark = f"The lead is one of {', '.join(parts)}."
    return Table("mixes", columns, tuple(rows), (remark,))


def mix_row(place: str, level: str, told: Mapping[str, Said], truths: Mapping[str, Line]) -> tuple[Cell, ...]:
    """Return the means over leads of one placing and level."""
    mine = {name.split("|")[2]: s for name, s in told.items() if name.split("|")[:2] == [place, level]}
    matches = [note_match(truths[lead], s.notes) for lead, s in mine.items()]
    f, recall, precision = (
        float(np.mean([getattr(match, name) for match in matches])) for name in ("f", "recall", "precision")
    )
    sure = [s.confidence for s in mine.values() if s.confidence is not None]
    warned = float(np.mean([bool(s.warnings) for s in mine.values()]))
    said = "; ".join(sorted({warning.split(":")[0] for s in mine.values() for warning in s.warnings}))
    return (
        place,
        level,
        len(mine),
        f,
        recall,
        precision,
        float(np.mean(sure)) if sure else None,
        warned,
        said,
    )


def all_parts(store: Store, data: Path) -> Iterator[tuple[str, Parts]]:
    """Yield leads with a band: invented ones, then annotated takes where they are at hand."""
    for lead, (program, centre) in LEADS.items():
        samples, notes = store.kept(f"lead {lead}", partial(lead_made, lead, program, centre))
        yield lead, Parts(samples.astype(float), bands(store, lead, SECONDS), notes)
    clean = [take for take in annotated_takes(data) if take.name.endswith("clean")]
    for planned in clean[:: max(1, len(clean) // FROM_TAKES)][:FROM_TAKES]:
        take = planned.take()
        count = int(SECONDS * RATE_HZ)
        notes = take.notes[take.notes[:, 1] < SECONDS]
        yield take.name, Parts(take.samples[:count].astype(float), bands(store, take.name, SECONDS), notes)


def lead_made(lead: str, program: int, centre: int) -> Made:
    """Return an invented line on an instrument."""
    rng = np.random.default_rng(seed_of(f"lead {lead}"))
    line = invented(rng, SECONDS, centre)
    return leveled(on_bank(events_of(rng, line, program), SECONDS)), line


def bands(store: Store, lead: str, seconds: float) -> tuple[Sound, ...]:
    """Return the parts of a band, bass, chords and drums, as loud beside one another as it plays."""
    made = [
        store.kept(f"band {lead} {channel}", partial(part_made, lead, channel, seconds))[0].astype(float)
        for channel in CHANNELS
    ]
    return tuple(made)


def part_made(lead: str, channel: int, seconds: float) -> Made:
    """Return one part of the band that plays with ``lead``."""
    events = list(band(np.random.default_rng(seed_of(f"band {lead}"))))
    mine: list[tuple[float, mido.Message]] = [(at, m) for at, m in events if m.channel == channel]
    return np.asarray(on_bank(mine, seconds, room=0.3), dtype=np.float32), np.empty((0, 3))


def placed(parts: Parts, places: Sequence[float] | None, level_db: float) -> Samples:
    """Return a mix, (n,) or (n, 2), with all of the band at ``level_db`` against the lead."""
    gain = 10.0 ** (level_db / 20.0) * rms(parts.lead) / rms(np.sum(parts.backing, axis=0))
    sounds = [parts.lead, *(gain * part for part in parts.backing)]
    if places is None:
        return leveled(np.sum(sounds, axis=0))
    turns = (np.array(places) + 1.0) * np.pi / 4.0  # equal power
    sides = [sum(f(t) * s for t, s in zip(turns, sounds, strict=True)) for f in (np.cos, np.sin)]
    return leveled(np.column_stack(sides))


def chords_table(store: Store, only: str) -> Table:
    """Return a row a kind of chord: notes heard a strum, and strums heard."""
    takes: dict[str, tuple[Samples, int]] = {}
    strums: dict[str, Line] = {}
    for kind in CHORDS:
        for player, program in {"steel guitar": 25, "clean guitar": 27, "piano": 0}.items():
            name = f"{kind}|{player}"
            if only in name:
                samples, strums[name] = store.kept(
                    f"chords {name}", partial(chords_made, name, kind, program)
                )
                takes[name] = samples, RATE_HZ
    told = said_of(takes) if takes else {}
    rows: list[tuple[Cell, ...]] = []
    for name, s in told.items():
        truth = strums[name]
        match = onset_match(truth[:, 0], s.notes[:, 0], ONSET_S)
        each = len(s.notes) / len(truth)
        said = "; ".join(sorted({warning.split(":")[0] for warning in s.warnings}))
        row: tuple[Cell, ...] = (*name.split("|"), len(truth), each, match.recall, match.precision)
        rows.append((*row, s.confidence, said))
    columns = ("chords", "player", "strums", "notes a strum", "recall", "precision", "confidence", "said")
    return Table(
        "chords", columns, tuple(rows), ("One note a strum is asked for, within 50 ms of its start.",)
    )


def chords_made(name: str, kind: str, program: int) -> Made:
    """Return chords strummed in half notes and quarters; the truth holds one note a strum, its lowest."""
    rng = np.random.default_rng(seed_of(f"chords {name}"))
    at_s, line, strums = LEAD_IN_S, [], []
    while at_s < SECONDS - 1.5:
        length_s, root = float(rng.choice([0.5, 0.5, 1.0])), int(rng.integers(43, 55))
        strums.append((at_s, at_s + 0.9 * length_s, root))
        line += [
            (at_s + STRUM_S * k, at_s + 0.9 * length_s, root + step) for k, step in enumerate(CHORDS[kind])
        ]
        at_s += length_s
    samples = on_bank(events_of(rng, np.array(line), program), SECONDS)
    return leveled(samples), np.array(strums, dtype=float)
