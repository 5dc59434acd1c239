"""Where takes are worked on: each is heard once, written whole, and remembered."""

import errno
import os
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING

from batch.catalogue import Catalogue, Entry, Stamp, State, summarise
from batch.contract import parse_analysis
from batch.errors import BatchError, TakeError
from batch.folder import Brief, brief, content_hash, settings_of, unreadable
from batch.model import Analysis
from batch.names import ANALYSIS_SUFFIX, output_names
from batch.outputs import write_whole
from batch.settings import Settings

if TYPE_CHECKING:
    from exporters.base import Exporter


class Did(StrEnum):
    """What was done for a take."""

    HEARD = "heard"
    WRITTEN = "written again"
    """Its files were written from an analysis at hand: renamed, copied, other export settings."""
    KNOWN = "heard before"
    """Nothing: its files are there."""
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one take."""

    entry: Entry
    did: Did


@dataclass(frozen=True, slots=True)
class Engine:
    """Works takes into one output folder.

    ``listen`` turns a take and its brief into an analysis; ``exporters`` says what to write.
    """

    folder: Path
    catalogue: Catalogue
    listen: Callable[[Brief, str], Analysis]
    exporters: Callable[[Settings], Sequence["Exporter"]]

    def work(self, takes: Iterable[Path]) -> Iterator[Outcome]:
        """Bring every take up to date, yielding each outcome as it comes.

        A take that fails is recorded with its reason and the others go on.
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
        stale = [path for path in paths if not self._is_current(known.get(path), path, names[path])]
        self.catalogue.queue(stale)
        waiting = set(stale)
        for path in paths:
            if path in waiting:
                yield self._bring_up_to_date(path, known.get(path), names[path])
            else:
                yield Outcome(known[path], Did.KNOWN)

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
            if changed and path not in others and (analysis := self._stored(entry)):
                # Recipe and rendition stay as they are: a later run sees whether they are out of date.
                yield self._write(entry, settings_of(path.parent), analysis, names[path], Did.WRITTEN)

    def _is_current(self, entry: Entry | None, path: Path, name: str) -> bool:
        if entry is None or entry.state is not State.DONE or entry.name != name:
            return False
        try:
            asked = brief(path)
            if (entry.stamp, entry.recipe, entry.rendition) != (
                Stamp.of(path),
                asked.recipe,
                asked.rendition,
            ):
                return False
        except (OSError, TakeError):
            return False
        return all(os.path.isfile(self._file(name, exporter)) for exporter in self.exporters(asked.settings))

    def _bring_up_to_date(self, path: Path, entry: Entry | None, name: str) -> Outcome:
        self.catalogue.start(path)
        begun = Entry(path, State.RUNNING, name=entry.name if entry else None)
        try:
            # The stamp is read first: a change while hashing shows as a new stamp next time.
            begun = replace(begun, stamp=_stamp(path))
            asked, content = brief(path), content_hash(path)
            fresh = replace(begun, content_hash=content, recipe=asked.recipe, rendition=asked.rendition)
            if found := self._heard_before(content, asked.recipe):
                return self._adopt(fresh, asked.settings, *found, name)
            return self._write(fresh, asked.settings, self.listen(asked, content), name, Did.HEARD)
        except TakeError as error:
            return self._fail(begun, str(error))
        except BaseException:
            self.catalogue.queue([path])
            raise

    def _heard_before(self, content: str, recipe: str) -> tuple[Entry, Analysis] | None:
        for entry in self.catalogue.with_content(content, recipe):
            if analysis := self._stored(entry):
                return entry, analysis
        return None

    def _adopt(
        self, fresh: Entry, settings: Settings, source: Entry, analysis: Analysis, name: str
    ) -> Outcome:
        """Use the analysis of the same content under another name; a renamed take leaves nothing behind."""
        moved = replace(analysis, take=replace(analysis.take, file=fresh.path.name))
        outcome = self._write(fresh, settings, moved, name, Did.WRITTEN)
        if source.path != fresh.path and not source.path.exists():
            self.catalogue.forget(source.path)
            if source.name and source.name != name:
                self._remove(source.name)
        return outcome

    def _write(self, entry: Entry, settings: Settings, analysis: Analysis, name: str, did: Did) -> Outcome:
        """Write a take's files, the catalogue last: what it calls done is on disk."""
        contents = {self._file(name, e): e.render(analysis) for e in self.exporters(settings)}
        try:
            for path, content in contents.items():
                write_whole(path, content)
        except OSError as error:
            if entry.name is None:
                self._remove(name)  # the few files of a take that never was done say nothing
            problem = f"its files cannot be written to {self.folder} ({error.strerror or error})"
            too_long = error.errno == errno.ENAMETOOLONG
            remedy = "give the take a shorter name" if too_long else "make room or give permission there"
            raise TakeError(entry.path, problem, remedy) from error
        if entry.name is not None and entry.name != name:
            self._remove(entry.name)
        done = summarise(replace(entry, name=name), analysis)
        self.catalogue.put(done)
        return Outcome(done, did)

    def _fail(self, entry: Entry, reason: str) -> Outcome:
        failed = replace(entry, state=State.FAILED, reason=reason)
        self.catalogue.put(failed)
        return Outcome(failed, Did.FAILED)

    def _stored(self, entry: Entry) -> Analysis | None:
        """Return the analysis on disk; None if it is gone or is another take's."""
        path = self.folder / f"{entry.name}{ANALYSIS_SUFFIX}"
        try:
            analysis = parse_analysis(path.read_bytes(), path)
        except (OSError, BatchError):
            return None
        return analysis if analysis.take.content_hash == entry.content_hash else None

    def _remove(self, name: str) -> None:
        for exporter in self.exporters(Settings()):
            with suppress(OSError):
                self._file(name, exporter).unlink()

    def _file(self, name: str, exporter: "Exporter") -> Path:
        return self.folder / f"{name}{exporter.suffix}"


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
