"""What decides how a take is heard: the settings of its folder, and what lies beside it."""

import hashlib
import os
from dataclasses import dataclass
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

from batch.charts import MOST_CHART_BYTES, MUSICXML_SUFFIXES, chart_of
from batch.companions import by_stem, companion_of
from batch.entry import Stamp
from batch.errors import TakeError
from batch.kinds import AUDIO_SUFFIXES
from batch.regular import TooLargeError, open_regular, read_regular, unreadable
from batch.settings import GridSettings, Settings
from batch.settings_file import SETTINGS_NAME, load_settings

LISTENING_VERSION = 8
"""Raised when the listening changes, so that takes heard before are heard again."""

MOST_MAP_BYTES = 64 << 20
"""What is read of a tempo map: more than any take recorded as MIDI (our choice)."""
_HASH_CHUNK = 1 << 20
_FOLDERS_KEPT = 4096
"""How many folders' settings are remembered; an archive may have more."""


@dataclass(frozen=True, slots=True)
class Brief:
    """All that decides how a take is heard and written, besides its own bytes.

    ``recipe`` and ``rendition`` are fingerprints: of what the listening depends on, and of
    what only the written files depend on.
    """

    path: Path
    settings: Settings
    tempo_map: Path | None
    companion: Path | None
    chart: Path | None
    recipe: str
    rendition: str


@dataclass(frozen=True, slots=True)
class _Prints:
    """What all takes of a folder share: their settings as text, the fingerprint of how they are written."""

    heard_by: str
    grid: str
    rendition: str


def brief(path: Path) -> Brief:
    """Gather what decides how the take at ``path`` is heard.

    Raises
    ------
    SettingsError
        If the folder's settings are wrong.
    TakeError
        If the tempo map or the companion beside the take cannot be read.
    """
    settings = settings_of(path.parent)
    prints = _prints_of(path.parent)
    chosen, grid = settings.grid, prints.grid
    if settings.takes:
        chosen = settings.grid_for(path.name)
        grid = chosen.model_dump_json()
    tempo_map = _tempo_map_for(path)
    companion = companion_of(path, chosen, companions_in(path.parent))
    chart = chart_of(path, chosen)
    recipe = _fingerprint(
        str(LISTENING_VERSION),
        prints.heard_by,
        grid,
        _content(path, tempo_map),
        _state(companion),
        _chart_state(chart),
    )
    # What is written names the chart: one that only has another name needs no hearing.
    rendition = _fingerprint(prints.rendition, chart.name) if chart else prints.rendition
    return Brief(path, settings, tempo_map, companion, chart, recipe, rendition)


def content_hash(path: Path) -> str:
    """Return a fingerprint of the file's bytes (BLAKE2b, RFC 7693), by which a take is known.

    Raises
    ------
    TakeError
        If the file cannot be read.
    """
    digest = hashlib.blake2b(digest_size=20)
    try:
        with open_regular(path) as stream:
            while chunk := stream.read(_HASH_CHUNK):
                digest.update(chunk)
    except OSError as error:
        raise unreadable(path, error) from error
    return digest.hexdigest()


def forget_settings() -> None:
    """Read every ``takemill.toml`` again when it is next asked for, and what lies beside takes."""
    settings_of.cache_clear()
    _prints_of.cache_clear()
    companions_in.cache_clear()


@lru_cache(maxsize=_FOLDERS_KEPT)
def companions_in(folder: Path) -> dict[str, Path]:
    """Return the companions in ``folder`` that have a take's name, by case-folded stem."""
    return by_stem(entry for entry in folder.iterdir() if entry.suffix.lower() in AUDIO_SUFFIXES)


@lru_cache(maxsize=_FOLDERS_KEPT)
def settings_of(folder: Path) -> Settings:
    """Return the settings of the takes in ``folder``: its own, or the nearest above it.

    Raises
    ------
    SettingsError
        If they are wrong.
    """
    if os.path.lexists(folder / SETTINGS_NAME):
        return load_settings(folder)
    return settings_of(folder.parent) if folder.parent != folder else Settings()


@lru_cache(maxsize=_FOLDERS_KEPT)
def _prints_of(folder: Path) -> _Prints:
    settings = settings_of(folder)
    return _Prints(
        heard_by=settings.model_dump_json(
            include={"sound", "labels", "groove", "relations", "held", "tension", "variety"}
        ),
        grid=GridSettings(**settings.grid.model_dump(exclude_unset=True)).model_dump_json(),
        rendition=_fingerprint(
            settings.model_dump_json(include={"markers", "cues", "page", "picture", "export", "chapters"})
        ),
    )


def _tempo_map_for(take: Path) -> Path | None:
    for name in (f"{take.stem}.tempo.mid", "tempo.mid"):
        candidate = take.with_name(name)
        if os.path.isfile(candidate):
            return candidate
    return None


def _content(take: Path, tempo_map: Path | None) -> str:
    """Return what changes when the tempo map beside a take does, told by its content."""
    if tempo_map is None:
        return "none"
    try:
        return f"map {tempo_map.suffix} {_print_of(tempo_map, Stamp.of(tempo_map), MOST_MAP_BYTES)}"
    except TooLargeError as error:
        problem = f"its tempo map {tempo_map.name} {error.strerror}"
        raise TakeError(take, problem, "export it again, or take it away") from error
    except OSError as error:
        problem = f"its tempo map {tempo_map.name} cannot be read ({error.strerror})"
        raise TakeError(take, problem, "check its permissions, or take it away") from error


def _chart_state(chart: Path | None) -> str:
    """Return what changes when a chart does, and when one can be read that could not before."""
    if chart is None:
        return "none"
    if chart.suffix.lower() in MUSICXML_SUFFIXES and find_spec("music21") is None:
        return "chart without its reader"
    try:
        return f"chart {chart.suffix} {_print_of(chart, Stamp.of(chart), MOST_CHART_BYTES)}"
    except OSError as error:
        return f"chart {chart.suffix} {type(error).__name__}"


@lru_cache(maxsize=64)
def _print_of(beside: Path, stamp: Stamp, most_bytes: int) -> str:
    """Return a fingerprint of a small file; one for a whole folder is not read for each of its takes.

    ``stamp`` tells when it is another: its time alone may be that of the one it took the place of.
    """
    return hashlib.blake2b(read_regular(beside, most_bytes)).hexdigest()


def _state(companion: Path | None) -> str:
    """Return what changes when a companion does; its bytes are too many to read at every look."""
    if companion is None:
        return "none"
    try:
        stat = companion.stat()
    except OSError as error:
        raise unreadable(companion, error) from error
    return f"companion {companion.name} {stat.st_size} {stat.st_mtime_ns}"


def _fingerprint(*parts: str) -> str:
    digest = hashlib.blake2b(digest_size=16)
    for part in parts:
        digest.update(part.encode() + b"\0")
    return digest.hexdigest()
