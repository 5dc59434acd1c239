"""The files of takes in one output folder: written whole, read back, taken away."""

import errno
import os
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from batch.contract import parse_analysis
from batch.entry import Entry
from batch.errors import BatchError, LaterError, TakeError
from batch.model import Analysis
from batch.names import ANALYSIS_SUFFIX, MAIN_SUFFIXES
from batch.outputs import is_ours, write_whole
from batch.regular import read_whole
from batch.settings import Settings

if TYPE_CHECKING:
    from exporters.base import Exporter, ExportersFor

_ALL_TAKES = ""
"""What stands before the ending in the name of a file about all takes."""


@dataclass(frozen=True, slots=True)
class Shelf:
    """The files in ``folder``; ``exporters`` says which a take has by its settings."""

    folder: Path
    exporters: "ExportersFor"

    def way_to(self, recording: Path) -> str:
        """Return the path from this folder to a recording, with slashes on every system."""
        try:
            return Path(os.path.relpath(recording, self.folder)).as_posix()
        except ValueError:  # on another drive
            return recording.as_posix()

    def holds(self, name: str, settings: Settings) -> bool:
        """Return whether all files that are asked for of the take called ``name`` are there."""
        return all(os.path.isfile(self._file(name, exporter)) for exporter in self.exporters(settings))

    def write(
        self, entry: Entry, settings: Settings, analysis: Analysis, name: str, gone: str | None = None
    ) -> str | None:
        """Write a take's files under ``name``; take away those under the name that ``entry`` had.

        Files on request are written if they are asked for, if the take has them by this name, the one it
        had, or the one it had before it was renamed (``gone``), and if one like it about all takes is there.
        What goes wrong with those harms no others; it is returned.

        Raises
        ------
        TakeError
            If the disk is full or the folder refuses, which is no fault of the take (:class:`LaterError`),
            or if the name is too long.
        """
        names = [one for one in dict.fromkeys((name, entry.name, gone, _ALL_TAKES)) if one is not None]
        chosen = self.exporters(
            settings, there=lambda suffix: any(is_ours(self.folder / f"{one}{suffix}") for one in names)
        )
        main = {self._file(name, e): e.render(analysis) for e in chosen if e.suffix in MAIN_SUFFIXES}
        *first, (last, last_content) = main.items()
        try:
            for path, content in first:
                write_whole(path, content)
            extras = (exporter for exporter in chosen if exporter.suffix not in MAIN_SUFFIXES)
            trouble = self._write_extras(extras, analysis, name)
            write_whole(last, last_content)
        except OSError as error:
            if entry.name is None:
                self.remove(name)  # the few files of a take that never was done say nothing
            raise self._unwritable(entry.path, error) from error
        if entry.name is not None and entry.name != name:
            self.remove(entry.name)
        return trouble

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
            path = self.folder / f"{name}{suffix}"
            if is_ours(path):
                with suppress(OSError):
                    path.unlink()

    def suffixes(self) -> tuple[str, ...]:
        """Return what the names of a take's files may end in."""
        return tuple(exporter.suffix for exporter in self.exporters(Settings(), there=lambda _: True))

    def _write_extras(self, extras: Iterable["Exporter"], analysis: Analysis, name: str) -> str | None:
        """Write a take's files on request; return what went wrong with one of them."""
        trouble = None
        for exporter in extras:
            path = self._file(name, exporter)
            try:
                if os.path.lexists(path) and not is_ours(path):
                    trouble = f"{path} is not by takemill and was left alone; move it away"
                    continue
                write_whole(path, exporter.render(analysis))
            except OSError as error:
                trouble = f"{path} cannot be written ({error.strerror or error}); make room there"
        return trouble

    def _unwritable(self, take: Path, error: OSError) -> TakeError:
        problem = f"its files cannot be written to {self.folder} ({error.strerror or error})"
        if error.errno == errno.ENAMETOOLONG:
            return TakeError(take, problem, "give the take a shorter name")
        return LaterError(take, problem, "make room or give permission there")

    def _file(self, name: str, exporter: "Exporter") -> Path:
        return self.folder / f"{name}{exporter.suffix}"
