"""Takes on their way: what is to be done for each, which are being heard, which wait for a twin."""

from dataclasses import dataclass
from pathlib import Path

from batch.catalogue import Entry
from batch.hearers import Request


@dataclass(frozen=True, slots=True)
class Job:
    """A take to bring up to date: its entry as it is to be, what was asked, the name of its files."""

    entry: Entry
    request: Request
    name: str

    @property
    def key(self) -> tuple[str, str]:
        """Content and recipe: takes that agree in both sound the same."""
        return self.request.content_hash, self.request.asked.recipe


class Flight:
    """The takes being heard, each with those of the same content that wait for it."""

    def __init__(self) -> None:
        self._jobs: dict[tuple[str, str], list[Job]] = {}

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
