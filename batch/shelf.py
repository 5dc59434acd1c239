"""The files of takes in one output folder: written whole, read back, taken away."""

import errno
import os
from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from batch.contract import parse_analysis
from batch.entry import Entry, Stamp
from batch.errors import BatchError, LaterError, TakeError, UnfitError
from batch.folder import content_hash
from batch.lookup import way_between
from batch.marks import bears_mark
from batch.model import Analysis
from batch.names import ANALYSIS_SUFFIX
from batch.on_request import UNMARKED, attempt, checked, fault
from batch.outputs import is_ours, whole, write_whole
from batch.regular import read_whole
from batch.settings import Settings

if TYPE_CHECKING:
    from exporters.base import Chosen, Copier, Exporter, FilesOf

_ALL_TAKES = ""
"""What stands before the ending in the name of a file about all takes."""


@dataclass(frozen=True, slots=True)
class Shelf:
    """The files in ``folder``; ``files_of`` says which a take has by its settings."""

    folder: Path
    files_of: "FilesOf"

    def way_to(self, recording: Path) -> str:
        """Return the way from this folder to a recording, as links in its files have it."""
        return way_between(self.folder, recording)

    def holds(self, name: str, recording: Path, settings: Settings) -> bool:
        """Return whether all files that are asked for of a take are there under ``name``."""
        chosen = self.files_of(settings)
        suffixes = [one.suffix for one in (*chosen.always, *chosen.extras)]
        try:
            suffixes += [suffix for one in chosen.copies if (suffix := _suffix_for(one, recording))]
        except BatchError:
            return False
        return all(os.path.isfile(self.folder / f"{name}{suffix}") for suffix in suffixes)

    def write(
        self, entry: Entry, settings: Settings, analysis: Analysis, name: str, gone: str | None = None
    ) -> str | None:
        """Write a take's files under ``name``; take away those under the name that ``entry`` had.

        Files on request are written if they are asked for, if the take has them by this name, the one it
        had, or the one it had before it was renamed (``gone``), and if one like it about all takes is there.
        What goes wrong with one of those harms no others; it is returned.

        Raises
        ------
        TakeError
            If the disk is full or the folder refuses, which is no fault of the take (:class:`LaterError`),
            or if the name is too long.
        """
        names = [one for one in dict.fromkeys((name, entry.name, gone, _ALL_TAKES)) if one is not None]
        chosen = self.files_of(
            settings, there=lambda suffix: any(is_ours(self.folder / f"{one}{suffix}") for one in names)
        )
        main = [(self.folder / f"{name}{one.suffix}", one.render(analysis)) for one in chosen.always]
        *first, (last, last_content) = main
        if entry.name != name:
            self._refuse_foreign(entry.path, [path for path, _ in main])
        try:
            for path, content in first:
                write_whole(path, content)
            trouble = [*filter(None, self._write_extras(chosen, entry.path, analysis, name))]
            write_whole(last, last_content)
        except OSError as error:
            if entry.name is None:
                self.remove(name)  # the few files of a take that never was done say nothing
            raise self._unwritable(entry.path, error) from error
        if entry.name is not None and entry.name != name:
            self.remove(entry.name)
        return "; ".join(trouble) or None

    def read(self, entry: Entry) -> Analysis | None:
        """Return the analysis on disk; None if it is gone or is another take's."""
        path = self.folder / f"{entry.name}{ANALYSIS_SUFFIX}"
        try:
            analysis = parse_analysis(read_whole(path), path)
        except (OSError, BatchError):
            return None
        return analysis if analysis.take.content_hash == entry.content_hash else None

    def remove(self, name: str) -> None:
        """Take away the files of the take called ``name``, all that it may have."""
        for suffix in self.suffixes():
            self._remove_ours(f"{name}{suffix}")

    def suffixes(self) -> tuple[str, ...]:
        """Return what the names of a take's files may end in."""
        return self.files_of(Settings(), there=lambda _: True).suffixes

    def _write_extras(
        self, chosen: "Chosen", recording: Path, analysis: Analysis, name: str
    ) -> Iterator[str | None]:
        """Write a take's files on request; yield what went wrong with each."""
        for exporter in chosen.extras:
            path = self.folder / f"{name}{exporter.suffix}"
            yield attempt(path, partial(_write, exporter, analysis, path))
        for copier in chosen.copies:
            try:
                suffix = _suffix_for(copier, recording)
            except BatchError as error:
                yield f"{self.folder / name}: a copy is not written: {error}"
                continue
            if suffix is not None:
                path = self.folder / f"{name}{suffix}"
                yield attempt(path, partial(_write_copy, copier, analysis, recording, path))
            for stale in copier.suffixes:  # of another format, before the settings or the take changed
                if stale != suffix:
                    self._remove_ours(f"{name}{stale}")

    def _refuse_foreign(self, take: Path, files: Iterable[Path]) -> None:
        """Refuse to write where files are that are not ours, under a name that the take never had."""
        for path in files:
            if os.path.lexists(path) and not is_ours(path):
                raise LaterError(take, f"{path} is not by takemill and was left alone", "move it away")

    def _unwritable(self, take: Path, error: OSError) -> TakeError:
        problem = f"its files cannot be written to {self.folder} ({error.strerror or error})"
        if error.errno == errno.ENAMETOOLONG:
            return TakeError(take, problem, "give the take a shorter name")
        return LaterError(take, problem, "make room or give permission there")

    def _remove_ours(self, file_name: str) -> None:
        path = self.folder / file_name
        if is_ours(path):
            with suppress(OSError):
                path.unlink()


def _suffix_for(copier: "Copier", recording: Path) -> str | None:
    """Return what the copy of a recording ends in; None if one of its kind has none.

    Raises
    ------
    BatchError
        If the copier fails, or names an ending that is none of its own.
    """
    try:
        suffix = copier.suffix_for(recording.name)
    except UnfitError:
        return None
    except (Exception, SystemExit) as error:
        raise BatchError(fault(error)) from error
    if suffix not in copier.suffixes:
        raise BatchError(f"its exporter names an ending, {suffix!r}, that is none of its own; mend it")
    return suffix


def _write(exporter: "Exporter", analysis: Analysis, path: Path) -> None:
    write_whole(path, checked(exporter.render(analysis), path))


def _write_copy(copier: "Copier", analysis: Analysis, recording: Path, path: Path) -> None:
    """Write the copy of a recording.

    Raises
    ------
    TakeError
        If it cannot be made; :class:`LaterError` if the recording is not the one that was analysed, as it
        is or while it is copied: positions in it would be wrong.
    """
    before = Stamp.of(recording)
    if content_hash(recording) != analysis.take.content_hash:
        raise LaterError(recording, "changed since it was analysed", "the next run hears it again")
    with whole(path) as stream:
        copier.copy(analysis, recording, stream)
        if not bears_mark(stream):
            raise BatchError(UNMARKED)
        if Stamp.of(recording) != before:
            raise LaterError(recording, "changed while it was copied", "the next run hears it again")
