"""An output folder's takes beside one another, kept in its index: pages, pictures, playlists of them all."""

import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

from batch.catalogue import Catalogue
from batch.entry import Entry, State
from batch.errors import BatchError
from batch.folder import settings_of
from batch.kept import Written, as_known
from batch.lookup import folder_name, present
from batch.on_request import bring_up
from batch.outlines import outlines_of
from batch.outputs import is_ours
from batch.overview import Listed, Overview
from batch.rank import Place, rank
from batch.settings import Settings
from batch.shelf import Shelf

if TYPE_CHECKING:
    from exporters.base import OverviewExporter, OverviewExportersFor

MOST_LISTED = 2_000
"""Takes in an index: more are slow to load, and nobody looks through them (our choice)."""


@dataclass(frozen=True, slots=True)
class Gallery:
    """The files about all takes of an output folder.

    A file is written if the settings of a folder worked on ask for it, or the command line does, and
    kept up once it is there.
    """

    catalogue: Catalogue
    shelf: Shelf
    exporters: "OverviewExportersFor"

    def bring_up(self, folders: Iterable[Path]) -> Iterator[Written]:
        """Bring the files up to date; yield those that changed.

        Raises
        ------
        BatchError
            At the end, a line for each file that could not be written: the disk is full, the folder refuses,
            has such a file that is not ours, or its exporter failed.
        """
        exporters = self._exporters(folders)
        if not exporters:
            return
        overview = self.overview()
        takes = len(overview.takes) + overview.more
        trouble: list[str] = []
        for exporter in exporters:
            if bring_up(self.shelf.folder / exporter.file_name, partial(exporter.render, overview), trouble):
                yield Written(exporter.file_name, takes)
        if trouble:
            raise BatchError("\n".join(trouble))

    def overview(self, most: int = MOST_LISTED) -> Overview:
        """Return the takes whose recordings are there, ``most`` of them with all there is to show."""
        scored, failed = self.catalogue.scores(), sorted(self.catalogue.files(State.FAILED))
        folders = self.catalogue.folders()
        there = present([*(take.file for take in scored), *failed], folders, self.catalogue.home)
        scored = [take for take in scored if take.file in there]
        places = rank(scored, most)
        return Overview(
            title=folder_name(folders, self.catalogue.home),
            takes=self._listed(places),
            unheard=tuple(self.catalogue.of_files([file for file in failed if file in there])),
            more=len(scored) - len(places),
        )

    def _exporters(self, folders: Iterable[Path]) -> Sequence["OverviewExporter"]:
        there = cache(lambda name: is_ours(self.shelf.folder / name))
        asked = [Settings(), *map(settings_of, folders)]
        chosen = {e.file_name: e for settings in asked for e in self.exporters(settings, there=there)}
        return list(chosen.values())

    def _listed(self, places: Sequence[Place]) -> tuple[Listed, ...]:
        entries = [as_known(entry) for entry in self.catalogue.of_files([place.file for place in places])]
        outlines = outlines_of(entries, self.catalogue, self.shelf)
        lying, suffixes = self._lying(), self.shelf.suffixes()

        def files_of(entry: Entry) -> tuple[str, ...]:
            return tuple(name for suffix in suffixes if (name := f"{entry.name}{suffix}") in lying)

        return tuple(
            Listed(entry, place, outlines.get(entry.path), files_of(entry), self.shelf.way_to(entry.path))
            for entry, place in zip(entries, places, strict=True)
        )

    def _lying(self) -> frozenset[str]:
        """Return the names of what lies in the folder, listed once for all takes."""
        try:
            with os.scandir(self.shelf.folder) as listing:
                return frozenset(entry.name for entry in listing)
        except OSError as error:
            raise BatchError(f"{self.shelf.folder}: cannot be listed ({error.strerror})") from error
