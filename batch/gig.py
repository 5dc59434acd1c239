"""A folder's takes kept as one session: one marker file and one cue list, written anew as takes come."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from batch.catalogue import Catalogue
from batch.entry import Entry, State
from batch.errors import BatchError
from batch.folder import settings_of
from batch.lookup import is_there
from batch.names import output_names
from batch.outline import FORMAT, Outline, dump_outline, outline_of, parse_outline
from batch.outputs import write_whole
from batch.regular import read_whole
from batch.session import Layout, SessionTake, lay_out
from batch.settings import Settings
from batch.shelf import Shelf
from batch.tempo import TempoMap

if TYPE_CHECKING:
    from exporters.session_cues import SessionCues
    from exporters.session_markers import SessionMarkers

SessionExporters = Callable[[Settings], "tuple[SessionMarkers, SessionCues]"]

_REST_FACTOR = 10.0
"""Writing a session while takes are heard costs at most a part in this many of the time (our choice)."""


@dataclass(frozen=True, slots=True)
class Written:
    """What became of a session's files: their names, how many takes, and what to know of their places."""

    name: str
    takes: int
    remarks: tuple[str, ...]


@dataclass(slots=True)
class Gigs:
    """Keeps the sessions of folders whose settings ask for one."""

    catalogue: Catalogue
    shelf: Shelf
    exporters: SessionExporters
    clock: Callable[[], float]
    _not_before_s: float = field(default=0.0, init=False)
    _unsaid: dict[Path, Written] = field(default_factory=dict, init=False)

    def keep_up(self, folders: Iterable[Path]) -> None:
        """Bring sessions up to date, if that takes a small part of the time since it was last done.

        So a long run is not held up. BatchError as from :meth:`keep`.
        """
        if self.clock() >= self._not_before_s:
            self._bring_up(folders)

    def keep(self, folders: Iterable[Path]) -> list[Written]:
        """Bring the sessions of ``folders`` up to date; return those that changed since this was last asked.

        Raises
        ------
        BatchError
            If the disk is full or the folder refuses.
        """
        self._bring_up(folders)
        written = list(self._unsaid.values())
        self._unsaid.clear()
        return written

    def _bring_up(self, folders: Iterable[Path]) -> None:
        wanted = [folder for folder in dict.fromkeys(folders) if settings_of(folder).session.write]
        if not wanted:
            return
        began_s = self.clock()
        names = _session_names(self.catalogue.folders())
        for folder in wanted:
            if written := self._keep(folder, names.get(folder, "")):
                self._unsaid[folder] = written
        ended_s = self.clock()
        self._not_before_s = ended_s + _REST_FACTOR * (ended_s - began_s)

    def _keep(self, folder: Path, name: str) -> Written | None:
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
        changed = [self._write(file, content) for file, content in contents.items()]
        return Written(f"{name}{markers.suffix}", len(layout.takes), layout.remarks) if any(changed) else None

    def _takes(self, entries: Sequence[Entry]) -> list[SessionTake]:
        """Return the takes with their outlines, reading only the analyses of which none is kept."""
        kept, fresh = self.catalogue.outlines([entry.path for entry in entries]), []
        takes = []
        for entry in entries:
            of = f"{FORMAT} {entry.content_hash} {entry.recipe}"
            outline = _kept(kept.get(entry.path), of)
            if outline is None and entry.state is State.DONE and (analysis := self.shelf.read(entry)):
                outline = outline_of(analysis)
                fresh.append((entry.path, of, dump_outline(outline)))
            heard = outline if entry.state is State.DONE else None
            takes.append(SessionTake(entry.name or entry.path.stem, entry.path.name, heard))
        if fresh:
            self.catalogue.keep_outlines(fresh)
        return takes

    def _map_of(self, layout: Layout, entries: Sequence[Entry]) -> TempoMap | None:
        """Return the tempo map that all takes share: that of any."""
        if layout.map_print is None:
            return None
        heard = next(entry for entry in entries if entry.state is State.DONE)
        analysis = self.shelf.read(heard)
        return analysis.grid.tempo_map if analysis and analysis.grid else None

    def _write(self, name: str, content: bytes) -> bool:
        """Write a file if it is not there with this content; return whether it was written."""
        path = self.shelf.folder / name
        try:
            if path.is_file() and read_whole(path) == content:
                return False
            write_whole(path, content)
        except OSError as error:
            raise BatchError(f"{path}: cannot be written ({error.strerror}); make room there") from error
        return True


def _kept(found: tuple[str, bytes] | None, of: str) -> Outline | None:
    if found is None or found[0] != of:
        return None
    try:
        return parse_outline(found[1])
    except ValueError:
        return None


def _session_names(folders: Iterable[Path]) -> dict[Path, str]:
    """Return what the files of each folder's session are called: as the folder, told apart as takes are."""
    like_takes = {folder: folder.parent / f"{folder.name or 'session'}.session" for folder in folders}
    names = output_names(like_takes.values())
    return {folder: names[path] for folder, path in like_takes.items()}
