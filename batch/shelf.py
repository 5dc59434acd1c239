"""The files of takes in one output folder: written whole, read back, taken away."""

import errno
import os
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from batch.contract import parse_analysis
from batch.entry import Entry
from batch.errors import BatchError, LaterError, TakeError
from batch.model import Analysis
from batch.names import ANALYSIS_SUFFIX
from batch.outputs import write_whole
from batch.regular import read_whole
from batch.settings import Settings

if TYPE_CHECKING:
    from exporters.base import Exporter


@dataclass(frozen=True, slots=True)
class Shelf:
    """The files in ``folder``; ``exporters`` says which a take has by its settings."""

    folder: Path
    exporters: Callable[[Settings], Sequence["Exporter"]]

    def way_to(self, recording: Path) -> str:
        """Return the path from this folder to a recording, with slashes on every system."""
        try:
            return Path(os.path.relpath(recording, self.folder)).as_posix()
        except ValueError:  # on another drive
            return recording.as_posix()

    def holds(self, name: str, settings: Settings) -> bool:
        """Return whether all files of the take called ``name`` are there."""
        return all(os.path.isfile(self._file(name, exporter)) for exporter in self.exporters(settings))

    def write(self, entry: Entry, settings: Settings, analysis: Analysis, name: str) -> None:
        """Write a take's files under ``name``; take away those under the name that ``entry`` had.

        Raises
        ------
        TakeError
            If the disk is full or the folder refuses, which is no fault of the take (:class:`LaterError`),
            or if the name is too long.
        """
        contents = {self._file(name, e): e.render(analysis) for e in self.exporters(settings)}
        try:
            for path, content in contents.items():
                write_whole(path, content)
        except OSError as error:
            if entry.name is None:
                self.remove(name)  # the few files of a take that never was done say nothing
            raise self._unwritable(entry.path, error) from error
        if entry.name is not None and entry.name != name:
            self.remove(entry.name)

    def read(self, entry: Entry) -> Analysis | None:
        """Return the analysis on disk; None if it is gone or is another take's."""
        path = self.folder / f"{entry.name}{ANALYSIS_SUFFIX}"
        try:
            analysis = parse_analysis(read_whole(path), path)
        except (OSError, BatchError):
            return None
        return analysis if analysis.take.content_hash == entry.content_hash else None

    def remove(self, name: str) -> None:
        """Take away the files of the take called ``name``."""
        for exporter in self.exporters(Settings()):
            with suppress(OSError):
                self._file(name, exporter).unlink()

    def _unwritable(self, take: Path, error: OSError) -> TakeError:
        problem = f"its files cannot be written to {self.folder} ({error.strerror or error})"
        if error.errno == errno.ENAMETOOLONG:
            return TakeError(take, problem, "give the take a shorter name")
        return LaterError(take, problem, "make room or give permission there")

    def _file(self, name: str, exporter: "Exporter") -> Path:
        return self.folder / f"{name}{exporter.suffix}"
