"""The takes of an output folder as they came over time: read from the catalogue, dated and named."""

import os
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from pathlib import Path

from batch.catalogue import Catalogue
from batch.entry import Entry, State
from batch.folder import settings_of
from batch.lookup import present
from batch.naming import Named, named, stems_of
from batch.outline import Outline
from batch.outlines import read_outlines
from batch.settings import Settings
from batch.shelf import Shelf
from batch.trend.dates import Dated, dated
from batch.trend.rows import LeftOut, Sighting
from batch.words import titles_of

_DRAWN_BY = {
    "length": ("labels", "long_from_beats", "long_from_s"),
    "density": ("labels", "dense_from_per_beat", "dense_from_per_s"),
    "articulation": ("labels", "legato_from"),
    "register": ("labels", "low_below", "high_from"),
    "interval_size": ("labels", "leaps_from"),
    "groove": (
        "groove",
        "syncopation_from",
        "syncopated_notes_from",
        "syncopated_run_from",
        "grouping_from",
        "off_grid_from",
    ),
}
"""The settings that decide each dimension's labels."""


@dataclass(frozen=True, slots=True)
class History:
    """Takes that were heard and whose recordings are there, and how many are left out."""

    title: str
    settings: Settings
    sightings: tuple[Sighting, ...]
    left_out: LeftOut


def history_of(
    catalogue: Catalogue, shelf: Shelf, today: date, advance: Callable[[int], None] = lambda takes: None
) -> History:
    """Return the takes of an output folder; ``advance`` is told of takes that were read.

    Raises
    ------
    SettingsError
        If the settings of a folder are wrong.
    """
    done, failed = catalogue.files(State.DONE), catalogue.files(State.FAILED)
    folders = catalogue.folders()
    there = present([*done, *failed], folders, catalogue.home)
    entries = catalogue.of_files([file for file in done if file in there])
    outlines = dict(read_outlines(entries, catalogue, shelf, advance))
    titles = dict(zip([entry.path for entry in entries], titles_of(entries), strict=True))
    files = dict(zip([entry.path for entry in entries], files_of(entries), strict=True))
    home = _common(folders, catalogue.home)
    stems = stems_of(entry.path for entry in entries if not entry.title)
    sightings, undated, asked, fits = [], 0, 0, 0
    for entry in entries:
        outline = outlines.get(entry.path)
        if outline is None:
            continue
        pattern = settings_of(entry.path.parent).trend.names
        who = named(entry.path, entry.title, outline.player, pattern, top=home, stems=stems)
        asked, fits = asked + (pattern is not None), fits + who.fits
        when = _when(entry, who, catalogue.home, today)
        if when is None:
            undated += 1
        else:
            sightings.append(
                _sighting(entry, outline, who, when, title=titles[entry.path], file=files[entry.path])
            )
    return History(
        title=home.name,
        settings=settings_of(home),
        sightings=tuple(sightings),
        left_out=LeftOut(
            undated=undated,
            gone=len(entries) - len(outlines),
            failed=len(there.intersection(failed)),
            asked=asked,
            fits=fits,
            unlike=frozenset().union(*(_unlike(settings_of(folder)) for folder in folders)),
        ),
    )


def files_of(entries: Sequence[Entry]) -> list[str]:
    """Return each file's name, with the folders that tell it from others of that name."""
    alike: defaultdict[str, list[Path]] = defaultdict(list)
    for entry in entries:
        alike[entry.path.name].append(entry.path.parent)
    above = {name: _common(folders, Path()) for name, folders in alike.items() if len(folders) > 1}
    return [
        entry.path.relative_to(above[name]).as_posix() if above.get(name, Path()) != Path() else name
        for entry in entries
        for name in [entry.path.name]
    ]


def _when(entry: Entry, who: Named, home: Path, today: date) -> Dated | None:
    names = (who.date or "", entry.path.stem, *_folder_names(entry.path.parent, home))
    return dated(entry.recorded_at, names, _changed_at(entry), today)


@lru_cache(4096)
def _folder_names(folder: Path, home: Path) -> tuple[str, ...]:
    """Return the names of a take's folder and of those above it, up to the one that is worked in."""
    above = [parent.name for parent in folder.parents if parent.is_relative_to(home)]
    return folder.name, *above


def _changed_at(entry: Entry) -> datetime | None:
    try:
        changed_ns = entry.stamp.mtime_ns if entry.stamp else entry.path.stat().st_mtime_ns
        return datetime.fromtimestamp(changed_ns / 1e9)  # the wall clock's time, as recordings state it
    except (OSError, ValueError, OverflowError):
        return None


def _sighting(entry: Entry, outline: Outline, who: Named, when: Dated, *, title: str, file: str) -> Sighting:
    return Sighting(
        title=title,
        file=file,
        at=when.at,
        dated_by=when.by,
        tune=who.tune,
        player=who.player,
        duration_s=outline.duration_s,
        phrases=outline.phrases,
        score=entry.score,
        low=entry.low,
        high=entry.high,
        parts=entry.parts or {},
        connectedness=entry.connectedness,
        in_beats=outline.in_beats,
        content=entry.content_hash,
    )


def _unlike(settings: Settings) -> frozenset[str]:
    """Return the dimensions whose labels these settings decide by other lines than the default."""
    return frozenset(
        dimension
        for dimension, (section, *keys) in _DRAWN_BY.items()
        if any(_set(settings, section, key) != _set(Settings(), section, key) for key in keys)
    )


def _set(settings: Settings, section: str, key: str) -> object:
    return getattr(getattr(settings, section), key)


def _common(folders: Sequence[Path] | dict[Path, str], home: Path) -> Path:
    """Return the folder that all takes lie in, at whatever depth."""
    try:
        return Path(os.path.commonpath(folders))
    except ValueError:  # there are no takes, or they lie on several drives
        return home
