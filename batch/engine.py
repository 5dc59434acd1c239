"""Where takes are worked on: each is heard once, written whole, and remembered."""

from collections.abc import Generator, Iterable, Iterator
from dataclasses import dataclass, field, replace
from itertools import count
from pathlib import Path

from batch.catalogue import Catalogue
from batch.charts import with_chart_named
from batch.entry import Entry, Stamp, State, summarise
from batch.errors import LaterError, TakeError
from batch.flight import Flight, Job, Spare
from batch.folder import brief, content_hash, settings_of
from batch.hearers import Answer, Hearers, Request
from batch.lookup import is_there
from batch.model import Analysis
from batch.names import output_names
from batch.outcome import Did, Outcome
from batch.regular import unreadable
from batch.settings import Settings
from batch.shelf import Shelf


@dataclass(frozen=True, slots=True)
class Engine:
    """Works takes into one output folder, and is the only one that writes there.

    ``hearers`` turn takes into analyses; ``shelf`` has their files. What a take costs does not
    depend on how many the catalogue holds.
    """

    catalogue: Catalogue
    shelf: Shelf
    hearers: Hearers
    spare: Spare = field(default_factory=Spare)
    _names: dict[Path, str] = field(default_factory=dict, init=False)
    """Those worked out for takes that hang together, while no other take comes or goes."""

    def expect(self, takes: Iterable[Path]) -> list[Path]:
        """Return the takes that are not up to date, marked as waiting."""
        self._names.clear()
        stale = [path for path in takes if not self._is_current(path)]
        self.catalogue.queue(path for path in stale if _has_a_name_to_write(path))
        return stale

    def lose(self, takes: Iterable[Path]) -> None:
        """Forget takes that went before they were heard; of the others the files stay."""
        for path in takes:
            if (entry := self._known(path)) and entry.name is None:
                self.catalogue.forget(path)

    def work(self, takes: Iterable[Path]) -> Generator[Outcome, None, None]:
        """Bring takes up to date that are not, yielding each outcome as it comes.

        They are asked for one by one, when there is room. A take that fails is recorded with its
        reason and the others go on. Close the iterator before its end to put back in the queue
        what is being heard.
        """
        flight = Flight()
        try:
            for path in takes:
                yield from self._take_on(path, flight)
            while flight:
                yield from self._collect(flight)
        except BaseException:
            self.catalogue.queue(flight.paths())
            raise

    def _known(self, path: Path) -> Entry | None:
        return self.catalogue.get(path) if _has_a_name_to_write(path) else None

    def _is_current(self, path: Path) -> bool:
        entry = self._known(path)
        if entry is None or entry.state is not State.DONE or entry.name is None:
            return False
        try:
            asked = brief(path)
            known = (entry.stamp, entry.recipe, entry.rendition)
            if known != (Stamp.of(path), asked.recipe, asked.rendition):
                return False
        except (OSError, TakeError):
            return False
        return self.shelf.holds(entry.name, path, asked.settings)

    def _take_on(self, path: Path, flight: Flight) -> Iterator[Outcome]:
        """Begin to hear a take, once there is room; yield what is done meanwhile."""
        while self.hearers.full:
            yield from self._collect(flight)
        if not _has_a_name_to_write(path):
            reason = "its name is not UTF-8 text, so no file can carry it on; rename it"
            yield Outcome(Entry(path, State.FAILED, reason), Did.FAILED)
            return
        entry = self.catalogue.get(path)
        begun = Entry(path, State.RUNNING, name=entry.name if entry else None)
        try:
            # The stamp is read first: a change while hashing shows as a new stamp next time.
            begun = replace(begun, stamp=_stamp(path))
            asked, content = brief(path), content_hash(path)
        except TakeError as error:
            yield self._fail(begun, error)
            return
        except OSError as error:  # its folder went, or may not be listed
            yield self._fail(begun, unreadable(path, error))
            return
        fresh = replace(begun, content_hash=content, recipe=asked.recipe, rendition=asked.rendition)
        yield from self._begin(Job(fresh, Request(asked, content)), flight)

    def _begin(self, job: Job, flight: Flight) -> Iterator[Outcome]:
        """Have a take heard, unless one of the same content was, or is being heard."""
        if flight.joins(job):
            return
        # First those whose recording is gone: the take may be one of them, renamed.
        for source in sorted(self.catalogue.with_content(*job.key), key=self._is_there):
            if analysis := self.shelf.read(source):
                if self._is_same(source, job):
                    self.catalogue.put(replace(source, state=State.DONE, stamp=job.entry.stamp, reason=None))
                    yield Outcome(source, Did.KNOWN)
                else:
                    yield from self._adopt(job, analysis, source)
                return
        if spare := self.spare.take(job.key):
            yield from self._adopt(job, spare, None)
            return
        flight.start(job)  # first: who is stopped in between puts back what is in flight
        self.catalogue.start(job.entry.path)
        self.hearers.begin(job.request)

    def _collect(self, flight: Flight) -> Iterator[Outcome]:
        """Wait for a take that is being heard and write it, then take up those of the same content."""
        request, answer = self.hearers.wait()
        job = flight.started(request)
        outcomes = list(self._finish(job, answer))
        waited = flight.land(job)
        yield from outcomes
        for twin in waited:
            yield from self._begin(twin, flight)

    def _finish(self, job: Job, answer: Answer) -> Iterator[Outcome]:
        try:
            stands_still = _stamp(job.entry.path) == job.entry.stamp
        except TakeError as error:
            if isinstance(answer, Analysis):
                self.spare.keep(job.key, answer)  # it may have been renamed
            yield self._fail(job.entry, error)
            return
        if not stands_still:
            problem = "was changed while it was being heard"
            yield self._fail(job.entry, LaterError(job.entry.path, problem, "the next run hears it again"))
        elif isinstance(answer, TakeError):
            yield self._fail(job.entry, answer)
        else:
            yield from self._keep(job, answer, Did.HEARD)

    def _is_there(self, entry: Entry) -> bool:
        return is_there(entry.path, self.catalogue.home)

    def _is_same(self, known: Entry, job: Job) -> bool:
        """Return whether a take only has another stamp: it was touched, or its folder copied."""
        same = (known.path, known.rendition) == (job.entry.path, job.entry.rendition)
        return same and self.shelf.holds(known.name or "", known.path, job.request.asked.settings)

    def _adopt(self, job: Job, analysis: Analysis, source: Entry | None) -> Iterator[Outcome]:
        """Use the analysis of the same content under another name; a renamed take leaves nothing behind."""
        moved = replace(analysis, take=replace(analysis.take, file=job.entry.path.name))
        moved = with_chart_named(moved, job.request.asked.chart)
        renamed = source and source.path != job.entry.path and not self._is_there(source)
        yield from self._keep(job, moved, Did.WRITTEN, source if renamed else None)

    def _keep(self, job: Job, analysis: Analysis, did: Did, gone: Entry | None = None) -> Iterator[Outcome]:
        """Write a take's files under the name it has by now, after giving others theirs."""
        entry = job.entry
        if gone:
            self._names.clear()
        if entry.path not in self._names:
            yield from self._name(entry.path, gone)
        try:
            name, settings = self._names[entry.path], job.request.asked.settings
            trouble = self._store(entry, settings, analysis, name, gone)
            yield self._enter(replace(entry, name=name), analysis, did, trouble, gone)
        except TakeError as error:
            yield self._fail(entry, error)

    def _name(self, path: Path, gone: Entry | None) -> Iterator[Outcome]:
        """Work out what a take's files and those of its kin are called; give others their new name."""
        kin = [other for other in self.catalogue.kin(path) if not gone or other.path != gone.path]
        names = output_names([path, *(other.path for other in kin)])
        family = {*names, *([gone.path] if gone else [])}
        names = {one: self._free(name, family) for one, name in names.items()}
        self._names.update(names)
        for other in kin:
            if other.state is State.DONE and other.name not in (None, names[other.path]):
                yield from self._rename(other, names[other.path])

    def _rename(self, entry: Entry, name: str) -> Iterator[Outcome]:
        """Give a take not asked for a new name, where a newcomer of the same name changed it."""
        analysis = self.shelf.read(entry)
        if analysis is None:
            self.catalogue.queue([entry.path])
            return
        # Recipe and rendition stay as they are: a later run sees whether they are out of date.
        try:
            trouble = self._store(entry, settings_of(entry.path.parent), analysis, name)
            yield self._enter(replace(entry, name=name), analysis, Did.WRITTEN, trouble)
        except TakeError as error:
            yield self._fail(entry, error)

    def _free(self, name: str, allowed: set[Path]) -> str:
        """Return the name, or the first with a number after it that no take but those has."""
        tries = (name if number == 1 else f"{name}-{number}" for number in count(1))
        return next(
            tried for tried in tries if all(entry.path in allowed for entry in self.catalogue.named(tried))
        )

    def _store(
        self, entry: Entry, settings: Settings, analysis: Analysis, name: str, gone: Entry | None = None
    ) -> str | None:
        """Write a take's files; return what went wrong with those on request, TakeError as from the shelf."""
        self._spare_replaced(entry)
        stored = replace(analysis.take, recording=self.shelf.way_to(entry.path), recipe=entry.recipe)
        whole = replace(analysis, take=stored)
        return self.shelf.write(entry, settings, whole, name, gone.name if gone else None)

    def _enter(
        self, entry: Entry, analysis: Analysis, did: Did, trouble: str | None, gone: Entry | None = None
    ) -> Outcome:
        """Enter a take as done, last of all: what the catalogue calls done is on disk.

        With ``trouble`` a file on request is not: the next run sees that it is to be written again.
        ``gone`` is what the take was before it was renamed; its files are taken away.
        """
        done = summarise(replace(entry, rendition=None) if trouble else entry, analysis)
        if gone is None:
            self.catalogue.put(done)
        else:
            if gone.name not in (None, entry.name):
                self.shelf.remove(gone.name or "")
            self.catalogue.replace(gone.path, done)
        return Outcome(replace(done, reason=trouble), Did.PARTLY) if trouble else Outcome(done, did)

    def _spare_replaced(self, entry: Entry) -> None:
        """Keep the analysis that a take's new content replaces: two takes may have swapped their names."""
        before = self.catalogue.get(entry.path)
        if not (before and before.name and before.content_hash and before.recipe):
            return
        if before.content_hash != entry.content_hash and (analysis := self.shelf.read(before)):
            self.spare.keep((before.content_hash, before.recipe), analysis)

    def _fail(self, entry: Entry, error: TakeError) -> Outcome:
        if not self._is_there(entry):
            return self._gone(entry)
        later = isinstance(error, LaterError)
        state = State.WAITING if later else State.FAILED
        # By this recipe it was not heard: the files that may be there are of another.
        failed = replace(entry, state=state, reason=str(error), recipe=None)
        self.catalogue.put(failed)
        return Outcome(failed, Did.LEFT if later else Did.FAILED)

    def _gone(self, entry: Entry) -> Outcome:
        """Forget a take that went before it was ever heard; of another the files stay."""
        reason = "is not there any more; its files stay, if it had any"
        failed = replace(entry, state=State.FAILED, reason=reason, recipe=None)
        if entry.name is None:
            self.catalogue.forget(entry.path)
        else:
            self.catalogue.put(failed)
        return Outcome(failed, Did.GONE)


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
