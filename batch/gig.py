"""A folder's takes kept as one session: one marker file and one cue list, written anew as takes come."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from batch.catalogue import Catalogue
from batch.entry import Entry, State
from batch.folder import settings_of
from batch.kept import Written, write_changed
from batch.lookup import is_there
from batch.names import output_names
from batch.outlines import outlines_of
from batch.session import Layout, SessionTake, lay_out
from batch.settings import Settings
from batch.shelf import Shelf
from batch.tempo import TempoMap

if TYPE_CHECKING:
    from exporters.session_cues import SessionCues
    from exporters.session_markers import SessionMarkers

SessionExporters = Callable[[Settings], "tuple[SessionMarkers, SessionCues]"]


@dataclass(frozen=True, slots=True)
class Gigs:
    """The sessions of folders whose settings ask for one."""

    catalogue: Catalogue
    shelf: Shelf
    exporters: SessionExporters

    def bring_up(self, folders: Iterable[Path]) -> Iterator[Written]:
        """Bring the sessions of ``folders`` up to date; yield those that changed.

        Raises
        ------
        BatchError
            If the disk is full or the folder refuses.
        """
        wanted = [folder for folder in dict.fromkeys(folders) if settings_of(folder).session.write]
        if not wanted:
            return
        names = _session_names(self.catalogue.folders())
        for folder in wanted:
            if written := self._write(folder, names.get(folder, "")):
                yield written

    def _write(self, folder: Path, name: str) -> Written | None:
        home, done = self.catalogue.home, {State.DONE, State.FAILED}
        entries = self.catalogue.in_folder(folder)
        mine = [e for e in entries if e.state in done and is_there(e.path, home)]
        if not mine:
            return None
        settings = settings_of(folder)
        layout = lay_out(self._takes(mine), settings.session)
        markers, cues = self.exporters(settings)
        contents = {
            f"{name}{markers.suffix}": markers.render(layout, self._map_of(layout, mine)),
            f"{name}{cues.suffix}": cues.render(layout),
        }
        changed = [write_changed(self.shelf.folder / file, content) for file, content in contents.items()]
        return Written(f"{name}{markers.suffix}", len(layout.takes), layout.remarks) if any(changed) else None

    def _takes(self, entries: Sequence[Entry]) -> list[SessionTake]:
        outlines = outlines_of(entries, self.catalogue, self.shelf)
        return [
            SessionTake(entry.name or entry.path.stem, entry.path.name, outlines.get(entry.path))
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
