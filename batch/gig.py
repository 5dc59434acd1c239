"""A folder's takes kept as one session: one marker file and one cue list, written anew as takes come."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from batch.catalogue import Catalogue
from batch.entry import Entry, State
from batch.errors import BatchError
from batch.folder import settings_of
from batch.kept import Written, as_known
from batch.lookup import is_there
from batch.names import output_names
from batch.on_request import bring_up
from batch.outlines import outlines_of
from batch.outputs import is_ours
from batch.session import Layout, SessionTake, lay_out
from batch.shelf import Shelf
from batch.tempo import TempoMap

if TYPE_CHECKING:
    from exporters.base import SessionExporter, SessionExportersFor


@dataclass(frozen=True, slots=True)
class Gigs:
    """The sessions of folders whose settings ask for one."""

    catalogue: Catalogue
    shelf: Shelf
    exporters: "SessionExportersFor"

    def bring_up(self, folders: Iterable[Path]) -> Iterator[Written]:
        """Bring the sessions of ``folders`` up to date; yield those that changed.

        Raises
        ------
        BatchError
            At the end, a line for each file that could not be written: the disk is full, the folder refuses,
            has such a file that is not ours, or its exporter failed.
        """
        wanted = {folder: found for folder in folders if (found := self._exporters(folder))}
        if not wanted:
            return
        names, trouble = _session_names(self.catalogue.folders()), list[str]()
        for folder, exporters in wanted.items():
            if written := self._write(folder, names.get(folder, ""), exporters, trouble):
                yield written
        if trouble:
            raise BatchError("\n".join(trouble))

    def _exporters(self, folder: Path) -> "Sequence[SessionExporter]":
        """Return what is asked for, and what is there under a name that the folder's session may have."""
        plain = folder.name or "session"
        names = (plain, f"{plain}.session", f"{folder.parent.name}-{plain}.session")  # see output_names

        def there(suffix: str) -> bool:
            return any(is_ours(self.shelf.folder / f"{name}{suffix}") for name in names)

        return self.exporters(settings_of(folder), there=there)

    def _write(
        self, folder: Path, name: str, exporters: "Sequence[SessionExporter]", trouble: list[str]
    ) -> Written | None:
        home, done = self.catalogue.home, {State.DONE, State.FAILED}
        entries = map(as_known, self.catalogue.in_folder(folder))
        mine = [e for e in entries if e.state in done and is_there(e.path, home)]
        if not mine:
            return None
        layout = lay_out(self._takes(mine), settings_of(folder).session)
        layout = replace(layout, session_map=self._map_of(layout, mine))
        files = {f"{name}{exporter.suffix}": partial(exporter.render, layout) for exporter in exporters}
        changed = [
            file for file, render in files.items() if bring_up(self.shelf.folder / file, render, trouble)
        ]
        return Written(changed[0], len(layout.takes), layout.remarks) if changed else None

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


def _session_names(folders: Iterable[Path]) -> dict[Path, str]:
    """Return what the files of each folder's session are called: as the folder, told apart as takes are."""
    like_takes = {folder: folder.parent / f"{folder.name or 'session'}.session" for folder in folders}
    names = output_names(like_takes.values())
    return {folder: names[path] for folder, path in like_takes.items()}
