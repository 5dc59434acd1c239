"""A folder's takes kept as one session: markers, cues, a timeline and others, written anew as takes come."""

import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from batch.catalogue import Catalogue
from batch.entry import Entry, State
from batch.errors import BatchError
from batch.folder import settings_of
from batch.kept import Written, as_known
from batch.kinds import is_take_name
from batch.lookup import is_there
from batch.names import output_names
from batch.on_request import bring_up
from batch.outlines import outlines_of
from batch.outputs import is_ours
from batch.scan import settings_or_defaults
from batch.session import Layout, SessionTake, lay_out
from batch.settings import Settings
from batch.shelf import Shelf
from batch.tempo import TempoMap

if TYPE_CHECKING:
    from exporters.base import SessionExporter, SessionExportersFor


@dataclass(frozen=True, slots=True)
class Gigs:
    """The sessions of folders.

    A file is written if the settings of its folder or the command line ask for it; most are kept up once they
    are there. One whose folder has no takes any more says so.
    """

    catalogue: Catalogue
    shelf: Shelf
    exporters: "SessionExportersFor"

    def bring_up(self, folders: Iterable[Path]) -> Iterator[Written]:
        """Bring the sessions of ``folders`` up to date, and those that lost their takes; yield what changed.

        Raises
        ------
        BatchError
            At the end, a line for each file that could not be written: the disk is full, the folder refuses,
            has such a file that is not ours, or its exporter failed.
        """
        wanted = {folder: self._exporters(folder) for folder in folders}
        known = self.catalogue.folders()
        names, trouble = _session_names(known), list[str]()
        for folder in sorted(wanted.keys() - known.keys()):
            name = _session_names([*known, folder])[folder]
            if folder.is_dir():
                names.setdefault(folder, name)
            elif name not in names.values():
                self._take_away(name)
        suffixes = [exporter.suffix for exporter in self._every(Settings())]
        for folder, name in names.items():
            if wanted.get(folder) or (self._has_any(name, suffixes) and not _has_takes(folder)):
                yield from self._write(folder, name, wanted.get(folder, ()), trouble)
        if trouble:
            raise BatchError("\n".join(trouble))

    def _exporters(self, folder: Path) -> "Sequence[SessionExporter]":
        """Return what is asked for, and what is there under a name that the folder's session may have."""
        plain = folder.name or "session"
        names = (plain, f"{plain}.session", f"{folder.parent.name}-{plain}.session")  # see output_names

        def there(suffix: str) -> bool:
            return any(is_ours(self.shelf.folder / f"{name}{suffix}") for name in names)

        return self.exporters(settings_of(folder), there=there)

    def _lying(self, folder: Path, name: str) -> "list[SessionExporter]":
        """Return the exporters of all session files that are there under this name, asked for or not."""
        every = self._every(settings_or_defaults(folder))
        return [one for one in every if is_ours(self.shelf.folder / f"{name}{one.suffix}")]

    def _every(self, settings: Settings) -> "Sequence[SessionExporter]":
        """Return all exporters of sessions that there are."""
        session = settings.session.model_copy(update={"write": True})
        return self.exporters(settings.model_copy(update={"session": session}), there=lambda _: True)

    def _has_any(self, name: str, suffixes: Iterable[str]) -> bool:
        return any(os.path.exists(self.shelf.folder / f"{name}{suffix}") for suffix in suffixes)

    def _take_away(self, name: str) -> None:
        """Take away the files of a folder that was renamed with its takes, whose session has a new name."""
        for exporter in self._lying(self.shelf.folder, name):
            with suppress(OSError):
                (self.shelf.folder / f"{name}{exporter.suffix}").unlink()

    def _write(
        self, folder: Path, name: str, exporters: "Sequence[SessionExporter]", trouble: list[str]
    ) -> Iterator[Written]:
        """Write what changed of a session; what to know of its takes comes with the last of its files."""
        home, done = self.catalogue.home, {State.DONE, State.FAILED}
        entries = [*map(as_known, self.catalogue.in_folder(folder))]
        mine = [e for e in entries if e.state in done and is_there(e.path, home)]
        if not mine:
            if any(is_there(e.path, home) for e in entries):
                return  # not heard yet
            exporters = self._lying(folder, name)
        layout = lay_out(self._takes(mine), settings_or_defaults(folder).session)
        layout = replace(layout, session_map=self._map_of(layout, mine))
        files = {f"{name}{exporter.suffix}": partial(exporter.render, layout) for exporter in exporters}
        changed = [
            file for file, render in files.items() if bring_up(self.shelf.folder / file, render, trouble)
        ]
        for file in changed:
            yield Written(file, len(layout.takes), layout.remarks if file == changed[-1] else ())

    def _takes(self, entries: Sequence[Entry]) -> list[SessionTake]:
        outlines = outlines_of(entries, self.catalogue, self.shelf)
        return [
            SessionTake(
                entry.name or entry.path.stem,
                entry.path.name,
                outlines.get(entry.path),
                self.shelf.way_to(entry.path),
            )
            for entry in entries
        ]

    def _map_of(self, layout: Layout, entries: Sequence[Entry]) -> TempoMap | None:
        """Return the tempo map that all takes share: that of any."""
        if layout.map_print is None:
            return None
        heard = next(entry for entry in entries if entry.state is State.DONE)
        analysis = self.shelf.read(heard)
        return analysis.grid.tempo_map if analysis and analysis.grid else None


def _has_takes(folder: Path) -> bool:
    """Return whether a folder holds takes, by their names."""
    try:
        with os.scandir(folder) as listing:
            return any(is_take_name(entry.name) for entry in listing)
    except OSError:
        return False  # it may be gone


def _session_names(folders: Iterable[Path]) -> dict[Path, str]:
    """Return what the files of each folder's session are called: as the folder, told apart as takes are."""
    like_takes = {folder: folder.parent / f"{folder.name or 'session'}.session" for folder in folders}
    names = output_names(like_takes.values())
    return {folder: names[path] for folder, path in like_takes.items()}
