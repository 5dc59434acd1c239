"""In the groove or against it, and what puts a phrase there."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from batch.groove.devices import Found
from batch.groove.rub import Rub
from batch.model import Device, Groove, Note
from batch.settings import GrooveSettings

NOTES_FOR_OFF_GRID = 10
"""Chance alone puts a few onsets far from the grid: sd of the mean of n is 0.144 / sqrt(n) (arithmetic)."""

OFF_THE_GRID = "off the grid"
SYNCOPATION = "syncopation"


@dataclass(frozen=True, slots=True)
class Verdict:
    """The word for a phrase, what puts it there, and how near the line it is: ``tension`` 1 is on it."""

    groove: Groove
    devices: tuple[Device, ...]
    tension: float


def judge(rub: Rub, notes: Sequence[Note], end_s: float, limits: GrooveSettings) -> Verdict:
    """Judge a phrase of ``notes`` that ends at ``end_s``: any strong evidence puts it against the groove."""
    tension = max((value / limit for value, limit in _evidence(rub, limits)), default=0.0)
    if tension < 1:
        return Verdict(Groove.IN_GROOVE, (), tension)
    found = sorted(_devices(rub, limits), key=lambda device: (device.first, device.last))
    return Verdict(Groove.AGAINST_GROOVE, tuple(_placed(device, notes, end_s) for device in found), tension)


def _evidence(rub: Rub, limits: GrooveSettings) -> Iterator[tuple[float, float]]:
    """Yield each kind of evidence that counts, with the limit from which it is strong."""
    if rub.syncopated_notes >= limits.syncopated_notes_from:
        yield rub.syncopation, limits.syncopation_from
    if rub.run:
        yield rub.run.strength, limits.syncopated_run_from
    if rub.groupings:
        yield max(found.strength for found in rub.groupings), limits.grouping_from
    if rub.note_count >= NOTES_FOR_OFF_GRID:
        yield rub.off_grid, limits.off_grid_from


def _devices(rub: Rub, limits: GrooveSettings) -> Iterator[Found]:
    groupings = [found for found in rub.groupings if found.strength >= limits.grouping_from]
    yield from groupings
    last = rub.note_count - 1
    share = (
        rub.syncopation >= limits.syncopation_from and rub.syncopated_notes >= limits.syncopated_notes_from
    )
    if share or (rub.run and rub.run.strength >= limits.syncopated_run_from):
        run = rub.run or Found(SYNCOPATION, 0, last, 0.0)
        # Groups that cross the beat are syncopated too, and say more.
        if not any(run.first <= found.last and found.first <= run.last for found in groupings):
            yield run
    elif rub.off_grid >= limits.off_grid_from and rub.note_count >= NOTES_FOR_OFF_GRID and not groupings:
        yield Found(OFF_THE_GRID, 0, last, rub.off_grid)


def _placed(found: Found, notes: Sequence[Note], end_s: float) -> Device:
    follows = found.last + 1 < len(notes)
    return Device(found.name, notes[found.first].onset_s, notes[found.last + 1].onset_s if follows else end_s)
