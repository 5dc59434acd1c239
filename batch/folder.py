"""What lies in a folder of takes: the takes, the tempo maps beside them, the settings."""

import hashlib
import os
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from batch.companions import by_stem, companion_of, is_companion_name
from batch.errors import BatchError, SettingsError, TakeError
from batch.names import OUTPUT_SUFFIXES, absolute
from batch.settings import Settings
from batch.settings_file import SETTINGS_NAME, load_settings

FILE_SUFFIXES = frozenset(
    {".wav", ".wave", ".bwf", ".rf64", ".bw64", ".w64", ".caf", ".aif", ".aiff", ".aifc", ".au", ".snd"}
    | {".flac", ".ogg", ".oga", ".opus", ".mp3"}
)
"""What libsndfile reads."""
MEDIA_SUFFIXES = frozenset({".m4a", ".aac", ".wma", ".mp4", ".m4v", ".mov", ".3gp", ".webm", ".mka", ".mkv"})
"""What phones and video recorders make."""
AUDIO_SUFFIXES = FILE_SUFFIXES | MEDIA_SUFFIXES
MIDI_SUFFIXES = frozenset({".mid", ".midi", ".smf"})
TAKE_SUFFIXES = AUDIO_SUFFIXES | MIDI_SUFFIXES

LISTENING_VERSION = 6
"""Raised when the listening changes, so that takes heard before are heard again."""


_HASH_CHUNK = 1 << 20


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
    recipe: str
    rendition: str


def is_take_name(name: str) -> bool:
    """Return whether a file of this name can be a take: a known suffix, not hidden, not ours, no map."""
    lower = name.lower()
    return (
        Path(lower).suffix in TAKE_SUFFIXES
        and not lower.startswith((".", "~"))
        and not lower.endswith(OUTPUT_SUFFIXES)
        and not _is_tempo_map_name(lower)
    )


def takes_in(folder: Path) -> list[Path]:
    """Return the takes in ``folder``, by name; its subfolders and companions are left alone."""
    settings = _settings_or_defaults(absolute(folder))
    return sorted(
        entry
        for entry in absolute(folder).iterdir()
        if is_take_name(entry.name) and not is_companion_name(entry.name, settings) and entry.is_file()
    )


def is_context(path: Path) -> bool:
    """Return whether a file says how takes are to be heard: a tempo map, a companion or the settings."""
    name = path.name
    if name == SETTINGS_NAME or _is_tempo_map_name(name.lower()):
        return True
    sounds = path.suffix.lower() in AUDIO_SUFFIXES and not name.startswith((".", "~"))
    return sounds and is_companion_name(name, _settings_or_defaults(path.parent))


def context_in(folder: Path) -> list[Path]:
    """Return the tempo maps, the companions and the settings in ``folder``."""
    return [entry for entry in absolute(folder).iterdir() if is_context(entry)]


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
    chosen = settings.grid_for(path.name)
    tempo_map = _tempo_map_for(path)
    companion = companion_of(path, chosen, companions_in(path.parent))
    heard_by = settings.model_dump_json(include={"sound", "labels", "groove", "variety"})
    grid = chosen.model_dump_json()
    written_by = settings.model_dump_json(include={"markers", "cues"})
    recipe = _fingerprint(
        str(LISTENING_VERSION), heard_by, grid, _content(path, tempo_map), _state(companion)
    )
    return Brief(path, settings, tempo_map, companion, recipe, _fingerprint(written_by))


def content_hash(path: Path) -> str:
    """Return a fingerprint of the file's bytes (BLAKE2b, RFC 7693), by which a take is known.

    Raises
    ------
    TakeError
        If the file cannot be read.
    """
    digest = hashlib.blake2b(digest_size=20)
    try:
        with path.open("rb") as stream:
            while chunk := stream.read(_HASH_CHUNK):
                digest.update(chunk)
    except OSError as error:
        raise unreadable(path, error) from error
    return digest.hexdigest()


def unreadable(path: Path, error: OSError) -> TakeError:
    """Return the error for a file that the system will not let us read."""
    if isinstance(error, FileNotFoundError):
        return TakeError(path, "is not there any more", "put it back, or forget it")
    if isinstance(error, IsADirectoryError):
        return TakeError(path, "is a folder, no recording", "take the ending off its name")
    if isinstance(error, PermissionError):
        return TakeError(path, "may not be read", "give yourself read permission")
    return TakeError(path, f"cannot be read ({error.strerror or error})", "check the disk it is on")


def forget_settings() -> None:
    """Read every ``takemill.toml`` again when it is next asked for, and what lies beside takes."""
    settings_of.cache_clear()
    companions_in.cache_clear()


@lru_cache(maxsize=64)
def companions_in(folder: Path) -> dict[str, Path]:
    """Return the companions in ``folder`` that have a take's name, by case-folded stem."""
    return by_stem(entry for entry in folder.iterdir() if entry.suffix.lower() in AUDIO_SUFFIXES)


def _settings_or_defaults(folder: Path) -> Settings:
    """Return the settings of ``folder``; where they are wrong, who hears a take will say so."""
    try:
        return settings_of(folder)
    except SettingsError:
        return Settings()


@lru_cache(maxsize=64)
def settings_of(folder: Path) -> Settings:
    """Return the settings of the takes in ``folder``; SettingsError if they are wrong."""
    return load_settings(folder)


def _tempo_map_for(take: Path) -> Path | None:
    for name in (f"{take.stem}.tempo.mid", "tempo.mid"):
        candidate = take.with_name(name)
        if os.path.isfile(candidate):
            return candidate
    return None


def _is_tempo_map_name(lower: str) -> bool:
    path = Path(lower)
    return path.suffix in MIDI_SUFFIXES and (path.stem == "tempo" or path.stem.endswith(".tempo"))


def _content(take: Path, tempo_map: Path | None) -> str:
    if tempo_map is None:
        return "none"
    try:
        return f"map {tempo_map.read_bytes().hex()}"
    except OSError as error:
        problem = f"its tempo map {tempo_map.name} cannot be read ({error.strerror})"
        raise TakeError(take, problem, "check its permissions, or take it away") from error


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


def gather(paths: Iterable[Path]) -> tuple[list[Path], list[str]]:
    """Return the takes that ``paths`` (files and folders) name, and a line for each that names none."""
    takes: dict[Path, None] = {}
    complaints = []
    for path in paths:
        try:
            found = _named_by(path)
        except BatchError as error:
            complaints.append(str(error))
        else:
            takes |= dict.fromkeys(found)
    return list(takes), complaints


def _named_by(path: Path) -> list[Path]:
    if os.path.isdir(path):
        try:
            return takes_in(path)
        except OSError as error:
            raise BatchError(f"{path}: cannot be listed ({error.strerror}); check its permissions") from error
    if not os.path.exists(path):
        raise BatchError(f"{path}: is not there; check the spelling")
    if not path.is_file():
        raise BatchError(f"{path}: is no file but a device or a pipe; name a recording")
    companion = is_companion_name(path.name, _settings_or_defaults(absolute(path).parent))
    if (companion or not is_take_name(path.name)) and path.suffix.lower() in TAKE_SUFFIXES:
        other = "a tempo map, a companion, a hidden file, or one that takemill wrote"
        raise BatchError(f"{path}: is no take but {other}")
    if not is_take_name(path.name):
        known = " ".join(sorted(TAKE_SUFFIXES))
        raise BatchError(f"{path}: is no take; takes end in {known}")
    return [absolute(path)]
