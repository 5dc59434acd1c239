"""Takes on their way: what is to be done for each, which are being heard, which wait for a twin, and what
was heard of takes that are not where they were."""

from dataclasses import dataclass
from pathlib import Path

from batch.entry import Entry
from batch.hearers import Request
from batch.model import Analysis

Key = tuple[str, str]
"""Content and recipe: takes that agree in both sound the same."""

_SPARE_KEPT = 8
"""Analyses in memory; a chain of renamed takes needs one at a time (our choice)."""


@dataclass(frozen=True, slots=True)
class Job:
    """A take to bring up to date: its entry as it is to be, and what was asked."""

    entry: Entry
    request: Request

    @property
    def key(self) -> Key:
        """What it sounds like."""
        return self.request.content_hash, self.request.asked.recipe


class Flight:
    """The takes being heard, each with those of the same content that wait for it."""

    def __init__(self) -> None:
        self._jobs: dict[Key, list[Job]] = {}

    def __bool__(self) -> bool:
        return bool(self._jobs)

    def joins(self, job: Job) -> bool:
        """Let a job wait for its twin; return whether it has one in the air."""
        twins = self._jobs.get(job.key, [])
        twins += [job] * bool(twins)
        return bool(twins)

    def start(self, job: Job) -> None:
        """Note that a take is being heard."""
        self._jobs[job.key] = [job]

    def started(self, request: Request) -> Job:
        """Return the job of a take being heard."""
        return self._jobs[request.content_hash, request.asked.recipe][0]

    def land(self, job: Job) -> list[Job]:
        """Take a job out; return those that waited for it."""
        return self._jobs.pop(job.key)[1:]

    def paths(self) -> list[Path]:
        """Return the takes being heard."""
        return [jobs[0].entry.path for jobs in self._jobs.values()]


class Spare:
    """Analyses that lost their place to another content, or whose recording went: it may turn up again."""

    def __init__(self) -> None:
        self._kept: dict[Key, Analysis] = {}

    def keep(self, key: Key, analysis: Analysis) -> None:
        """Keep an analysis, and let the oldest go if there are many."""
        self._kept[key] = analysis
        while len(self._kept) > _SPARE_KEPT:
            self._kept.pop(next(iter(self._kept)))

    def take(self, key: Key) -> Analysis | None:
        """Return the analysis of a content, if it is kept."""
        return self._kept.get(key)
