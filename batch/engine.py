"""Where takes are worked on: each is heard once, written whole, and remembered."""

from collections.abc import Collection, Generator, Iterable, Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path

from batch.catalogue import Catalogue, Entry, Stamp, State, summarise
from batch.errors import LaterError, TakeError
from batch.flight import Flight, Job
from batch.folder import brief, content_hash, settings_of, unreadable
from batch.hearers import Answer, Hearers, Request
from batch.model import Analysis
from batch.names import output_names
from batch.settings import Settings
from batch.shelf import Shelf


class Did(StrEnum):
    """What was done for a take."""

    HEARD = "heard"
    WRITTEN = "written again"
    """Its files were written from an analysis at hand: renamed, copied, other export settings."""
    KNOWN = "heard before"
    """Nothing: its files are there."""
    LEFT = "left for later"
    """It waits: nothing is wrong with it, but it could not be heard now."""
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one take."""

    entry: Entry
    did: Did


@dataclass(frozen=True, slots=True)
class Engine:
    """Works takes into one output folder, and is the only one that writes there.

    ``hearers`` turn takes into analyses; ``shelf`` has their files.
    """

    catalogue: Catalogue
    shelf: Shelf
    hearers: Hearers

    def work(self, takes: Iterable[Path]) -> Generator[Outcome, None, None]:
        """Bring every take up to date, yielding each outcome as it comes.

        A take that fails is recorded with its reason and the others go on. Close the iterator
        before its end to put back in the queue what is being heard.
        """
        paths = []
        for path in takes:
            if _has_a_name_to_write(path):
                paths.append(path)
            else:
                reason = "its name is not UTF-8 text, so no file can carry it on; rename it"
                yield Outcome(Entry(path, State.FAILED, reason), Did.FAILED)
        known = {entry.path: entry for entry in self.catalogue.entries()}
        names = output_names({*paths, *(path for path, entry in known.items() if entry.name)})
        for outcome in self._rename(known, names, set(paths)):
            known[outcome.entry.path] = outcome.entry
        stale = {path for path in paths if not self._is_current(known.get(path), path, names[path])}
        self.catalogue.queue(path for path in paths if path in stale)
        flight = Flight()
        try:
            for path in paths:
                if path not in stale:
                    yield Outcome(known[path], Did.KNOWN)
                else:
                    yield from self._take_on(path, known.get(path), names[path], flight)
            while flight:
                yield from self._collect(flight)
        except BaseException:
            self.catalogue.queue(flight.paths())
            raise

    def expect(self, takes: Collection[Path]) -> None:
        """Note takes that are not finished yet as waiting; forget those that went without being heard."""
        known = {entry.path: entry for entry in self.catalogue.entries()}
        self.catalogue.queue(
            path
            for path in takes
            if _has_a_name_to_write(path)
            if not (entry := known.get(path)) or not self._is_current(entry, path, entry.name or "")
        )
        for path, entry in known.items():
            if entry.state is State.WAITING and entry.name is None and not path.exists():
                self.catalogue.forget(path)

    def _rename(
        self, known: dict[Path, Entry], names: dict[Path, str], others: set[Path]
    ) -> Iterator[Outcome]:
        """Give takes not asked for their new name, where a newcomer of the same name changed it."""
        for path, entry in known.items():
            changed = entry.name is not None and entry.state is State.DONE and names[path] != entry.name
            if changed and path not in others and (analysis := self.shelf.read(entry)):
                # Recipe and rendition stay as they are: a later run sees whether they are out of date.
                yield self._write(entry, settings_of(path.parent), analysis, names[path], Did.WRITTEN)

    def _is_current(self, entry: Entry | None, path: Path, name: str) -> bool:
        if entry is None or entry.state is not State.DONE or entry.name != name:
            return False
        try:
            asked = brief(path)
            known = (entry.stamp, entry.recipe, entry.rendition)
            if known != (Stamp.of(path), asked.recipe, asked.rendition):
                return False
        except (OSError, TakeError):
            return False
        return self.shelf.holds(name, asked.settings)

    def _take_on(self, path: Path, entry: Entry | None, name: str, flight: Flight) -> Iterator[Outcome]:
        """Begin to hear a take, once there is room; yield what is done meanwhile."""
        while self.hearers.full:
            yield from self._collect(flight)
        begun = Entry(path, State.RUNNING, name=entry.name if entry else None)
        try:
            # The stamp is read first: a change while hashing shows as a new stamp next time.
            begun = replace(begun, stamp=_stamp(path))
            asked, content = brief(path), content_hash(path)
        except TakeError as error:
            yield self._fail(begun, error)
            return
        fresh = replace(begun, content_hash=content, recipe=asked.recipe, rendition=asked.rendition)
        yield from self._begin(Job(fresh, Request(asked, content), name), flight)

    def _begin(self, job: Job, flight: Flight) -> Iterator[Outcome]:
        """Have a take heard, unless one of the same content was, or is being heard."""
        if flight.joins(job):
            return
        if found := self._heard_before(job):
            yield self._adopt(job, *found)
            return
        flight.start(job)  # first: who is stopped in between puts back what is in flight
        self.catalogue.start(job.entry.path)
        self.hearers.begin(job.request)

    def _collect(self, flight: Flight) -> Iterator[Outcome]:
        """Wait for a take that is being heard and write it, then take up those of the same content."""
        request, answer = self.hearers.wait()
        job = flight.started(request)
        outcome = self._finish(job, answer)
        waited = flight.land(job)
        yield outcome
        for twin in waited:
            yield from self._begin(twin, flight)

    def _finish(self, job: Job, answer: Answer) -> Outcome:
        if isinstance(answer, TakeError):
            return self._fail(job.entry, answer)
        try:
            return self._write(job.entry, job.request.asked.settings, answer, job.name, Did.HEARD)
        except TakeError as error:
            return self._fail(job.entry, error)

    def _heard_before(self, job: Job) -> tuple[Entry, Analysis] | None:
        for entry in self.catalogue.with_content(*job.key):
            if analysis := self.shelf.read(entry):
                return entry, analysis
        return None

    def _adopt(self, job: Job, source: Entry, analysis: Analysis) -> Outcome:
        """Use the analysis of the same content under another name; a renamed take leaves nothing behind."""
        fresh = job.entry
        moved = replace(analysis, take=replace(analysis.take, file=fresh.path.name))
        try:
            outcome = self._write(fresh, job.request.asked.settings, moved, job.name, Did.WRITTEN)
        except TakeError as error:
            return self._fail(fresh, error)
        if source.path != fresh.path and not source.path.exists():
            self.catalogue.forget(source.path)
            if source.name and source.name != job.name:
                self.shelf.remove(source.name)
        return outcome

    def _write(self, entry: Entry, settings: Settings, analysis: Analysis, name: str, did: Did) -> Outcome:
        """Write a take's files, the catalogue last: what it calls done is on disk."""
        self.shelf.write(entry, settings, analysis, name)
        done = summarise(replace(entry, name=name), analysis)
        self.catalogue.put(done)
        return Outcome(done, did)

    def _fail(self, entry: Entry, error: TakeError) -> Outcome:
        if isinstance(error, LaterError):
            waiting = replace(entry, state=State.WAITING, reason=str(error), recipe=None)
            self.catalogue.put(waiting)
            return Outcome(waiting, Did.LEFT)
        # By this recipe it was not heard: the files that may be there are of another.
        failed = replace(entry, state=State.FAILED, reason=str(error), recipe=None)
        self.catalogue.put(failed)
        return Outcome(failed, Did.FAILED)


def _has_a_name_to_write(path: Path) -> bool:
    """Return whether the name is text; a file system may hold any bytes (surrogates, PEP 383)."""
    try:
        str(path).encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _stamp(path: Path) -> Stamp:
    try:
        return Stamp.of(path)
    except OSError as error:
        raise unreadable(path, error) from error
