"""Accuracy and speed of every listener on the same sounds, by kind of instrument and condition."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from .listeners import Hear, Listener, hear
from .making.banks import about_bank
from .making.takes import Samples, Take
from .scores import Scores, mean_scores, scores_of
from .tables import Cell, Table

EXPLAINED = (
    "F by mir_eval: onsets within 50 (on50) and 25 ms (on25); notes: onset 50 ms, pitch 50 cents;"
    " full: and offset within 20 % of the note or 50 ms.",
    "All get the same mono samples at 22.05 kHz; pyin is cut into notes as segmentation.py says.",
)
KINDS = ("on50", "on25", "note", "full")
WARM_UP_S = 1.0


@dataclass(frozen=True, slots=True)
class Result:
    """How one listener did on one take."""

    listener: str
    take: str
    groups: tuple[str, ...]
    scores: Scores
    cpu_s: float
    sound_s: float


def results(listeners: Sequence[Listener], takes: Iterable[Take]) -> list[Result]:
    """Let every listener hear every take."""
    ears = {listener.name: warmed(listener.start()) for listener in listeners}
    return [result(name, ear, take) for take in takes for name, ear in ears.items()]


def warmed(ear: Hear, rate_hz: int = 22_050) -> Hear:
    """Return ``ear`` after a first sound, which compiles what is compiled."""
    t = np.arange(int(WARM_UP_S * rate_hz)) / rate_hz
    tone: Samples = np.asarray(0.5 * np.sin(2.0 * np.pi * 220.0 * t) * (t > 0.3), dtype=np.float32)
    ear(tone, rate_hz)
    return ear


def result(name: str, ear: Hear, take: Take) -> Result:
    """Return how ``ear`` did on ``take``."""
    heard = hear(ear, take)
    scores = scores_of(take.notes, heard.onsets_s, heard.notes)
    return Result(name, take.name, take.groups, scores, heard.cpu_s, take.duration_s)


def accuracy_table(found: Sequence[Result]) -> Table:
    """Return mean scores: a row a group, then all, four columns a listener."""
    names = list(dict.fromkeys(one.listener for one in found))
    groups = list(dict.fromkeys(group for one in found for group in one.groups))
    rows = [scored(group, [one for one in found if group in one.groups], names) for group in groups]
    rows.append(scored("mean of all takes", found, names))
    columns = ["takes of", "takes"]
    for name in names:
        kinds = KINDS[:2] if hears_only_onsets(found, name) else KINDS
        columns += [f"{name}: {kind}" for kind in kinds]
    return Table("accuracy", tuple(columns), tuple(rows), (*EXPLAINED, about_bank()))


def hears_only_onsets(found: Sequence[Result], name: str) -> bool:
    """Return whether this listener finds no notes, only where they begin."""
    return all(one.scores.note is None for one in found if one.listener == name)


def scored(group: str, found: Sequence[Result], names: Sequence[str]) -> tuple[Cell, ...]:
    """Return one row."""
    row: list[Cell] = [group, len({(one.take, one.groups) for one in found})]
    for name in names:
        mean = mean_scores([one.scores for one in found if one.listener == name])
        row += [mean.on50, mean.on25]
        row += [mean.note, mean.full] if not hears_only_onsets(found, name) else []
    return tuple(row)


def cost_table(found: Sequence[Result]) -> Table:
    """Return how fast each listener was, in seconds of sound a second of processor, and against the first."""
    rows: list[tuple[Cell, ...]] = []
    for name in dict.fromkeys(one.listener for one in found):
        mine = [one for one in found if one.listener == name]
        sound_s, cpu_s = sum(one.sound_s for one in mine), sum(one.cpu_s for one in mine)
        rows.append((name, sound_s, cpu_s, sound_s / cpu_s))
    first = float(rows[0][3] or 0.0) if rows else 0.0
    ratios = tuple((*row, float(row[3] or 0.0) / first) for row in rows)
    columns = ("listener", "sound s", "cpu s", "x real time", f"against {rows[0][0] if rows else ''}")
    remark = "Hearing alone: samples in memory to notes, one thread, libraries loaded and compiled."
    return Table("cost of hearing", columns, ratios, (remark,))
