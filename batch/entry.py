"""What the catalogue knows of one take."""

import os
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import NamedTuple

from batch.model import DECIMALS, Analysis


class State(StrEnum):
    """Where a take stands."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class Stamp:
    """What the file system says of a file; the same stamp means the same content.

    ``ctime_ns`` changes with a file's name too: two takes of one size and time may swap theirs.
    """

    size: int
    mtime_ns: int
    ctime_ns: int = 0

    @classmethod
    def of(cls, path: Path) -> "Stamp":
        """Read the stamp of ``path``; OSError if it is not there."""
        return cls.of_status(path.stat())

    @classmethod
    def of_status(cls, status: os.stat_result) -> "Stamp":
        """Return the stamp in what the system said of a file."""
        return cls(status.st_size, _storable(status.st_mtime_ns), _storable(status.st_ctime_ns))


@dataclass(frozen=True, slots=True)
class Entry:
    """One take in the catalogue. ``path`` is absolute, whatever folder the catalogue moved to."""

    path: Path
    state: State
    reason: str | None = None
    changed_at: str = ""
    stamp: Stamp | None = None
    content_hash: str | None = None
    recipe: str | None = None
    rendition: str | None = None
    name: str | None = None
    title: str | None = None
    recorded_at: str | None = None
    duration_s: float | None = None
    tempo_bpm: float | None = None
    phrases: int | None = None
    score: float | None = None
    low: float | None = None
    high: float | None = None
    parts: dict[str, float | None] | None = None
    why_null: str | None = None
    warnings: tuple[str, ...] = ()
    connectedness: float | None = None


class Scored(NamedTuple):
    """What a ranking needs of a take: the catalogue's key for it, its score or a part of it, its range."""

    file: str
    value: float | None
    low: float | None = None
    high: float | None = None


def summarise(entry: Entry, analysis: Analysis) -> Entry:
    """Return ``entry`` as done, with what a ranking needs of its analysis."""
    variety, take = analysis.variety, analysis.take
    return replace(
        entry,
        state=State.DONE,
        reason=None,
        title=take.title,
        recorded_at=take.recorded_at,
        duration_s=round(take.duration_s, DECIMALS),
        tempo_bpm=grid.tempo_bpm if (grid := analysis.measured_on) else None,
        phrases=len(analysis.phrases),
        score=variety.score,
        low=variety.low,
        high=variety.high,
        parts=dict(variety.parts),
        why_null=variety.why_null,
        warnings=analysis.warnings,
        connectedness=analysis.relatedness.connectedness if analysis.relatedness else None,
    )


def _storable(number: int) -> int:
    """Return a number that SQLite can store; some file systems have times beyond."""
    return min(max(number, -(1 << 63)), (1 << 63) - 1)
