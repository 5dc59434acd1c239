"""What lies in a folder of takes, and in the folders below it if so set: read in one pass."""

import os
import stat
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from batch.charts import is_chart_name
from batch.companions import is_companion_name
from batch.entry import Stamp
from batch.errors import BatchError, SettingsError
from batch.folder import settings_of
from batch.kinds import AUDIO_SUFFIXES, TAKE_SUFFIXES, is_hidden, is_take_name, is_tempo_map_name
from batch.names import OUT_NAME, absolute
from batch.settings import FolderSettings, Settings
from batch.settings_file import SETTINGS_NAME


@dataclass(frozen=True, slots=True)
class Found:
    """The takes in a folder, and the files that say how takes are to be heard, as they are seen."""

    takes: Mapping[Path, Stamp] = field(default_factory=dict)
    context: Mapping[Path, Stamp] = field(default_factory=dict)

    def looked_at_again(self, paths: Iterable[Path]) -> "Found":
        """Return the same with some of the files as they are now."""
        fresh = {path: seen_at(path) for path in paths}
        return Found(_updated(self.takes, fresh), _updated(self.context, fresh))


def scan(folder: Path, out: Path | None = None) -> Found:
    """Return what lies in ``folder`` by its settings.

    Hidden folders, those behind links, those that ``folder.exclude`` names, and the one written to
    are not entered. What goes while it is looked at is left out.

    Raises
    ------
    OSError
        If ``folder`` itself cannot be listed.
    """
    top = absolute(folder)
    chosen = settings_or_defaults(top).folder
    takes: dict[Path, Stamp] = {}
    context = _settings_above(top)
    for place, entries in _walk(top, chosen, absolute(out) if out else None):
        settings = settings_or_defaults(place)
        for entry in entries:
            path = place / entry.name
            companion = _is_companion(entry.name, settings)
            if companion or _says_how(entry.name, settings):
                kept = context
            elif is_take_name(entry.name) and is_chosen(path, chosen):
                kept = takes
            else:
                continue
            if seen := seen_at(path):
                kept[path] = seen
    return Found(takes, context)


def _settings_above(top: Path) -> dict[Path, Stamp]:
    """Return the settings that a folder without its own follows."""
    nearest = next((place for place in (top, *top.parents) if (place / SETTINGS_NAME).exists()), top)
    stamp = None if nearest == top else seen_at(nearest / SETTINGS_NAME)
    return {nearest / SETTINGS_NAME: stamp} if stamp else {}


def is_chosen(path: Path, chosen: FolderSettings) -> bool:
    """Return whether a take is one by the patterns of its folder's settings."""
    included = any(path.match(pattern) for pattern in chosen.include)
    return included and not any(path.match(pattern) for pattern in chosen.exclude)


def takes_in(folder: Path, out: Path | None = None) -> list[Path]:
    """Return the takes in ``folder``: by path, or the one that changed last first, as its settings say."""
    found = scan(folder, out).takes
    return in_order(found, settings_or_defaults(absolute(folder)).folder)


def in_order(takes: Mapping[Path, Stamp], chosen: FolderSettings) -> list[Path]:
    """Return takes in the order in which they are to be heard."""
    if chosen.newest_first:
        return sorted(takes, key=lambda path: (-takes[path].mtime_ns, path))
    return sorted(takes)


def gather(paths: Iterable[Path], out: Path | None = None) -> tuple[list[Path], list[str]]:
    """Return the takes that ``paths`` (files and folders) name, and a line for each that names none."""
    takes: dict[Path, None] = {}
    complaints = []
    for path in paths:
        try:
            found = _named_by(path, out)
        except BatchError as error:
            complaints.append(str(error))
        else:
            takes |= dict.fromkeys(found)
    return list(takes), complaints


def seen_at(path: Path) -> Stamp | None:
    """Return the stamp of a file, also of one behind a link; None where there is none."""
    try:
        status = path.stat()
    except (OSError, ValueError):
        return None
    return Stamp.of_status(status) if stat.S_ISREG(status.st_mode) else None


def settings_or_defaults(folder: Path) -> Settings:
    """Return the settings of ``folder``; where they are wrong, who hears a take will say so."""
    try:
        return settings_of(folder)
    except SettingsError:
        return Settings()


def _walk(
    top: Path, chosen: FolderSettings, out: Path | None
) -> Iterator[tuple[Path, list["os.DirEntry[str]"]]]:
    """Yield each folder with what is in it that is no folder."""
    waiting = [top]
    while waiting:
        place = waiting.pop()
        try:
            with os.scandir(place) as listing:
                entries = list(listing)
        except OSError:
            if place == top:
                raise
            continue  # gone, or not ours to read
        yield place, [entry for entry in entries if not _is_folder(entry)]
        if chosen.subfolders:
            below = (place / entry.name for entry in entries if _is_folder(entry))
            waiting += sorted((path for path in below if _is_entered(path, chosen, out)), reverse=True)


def _is_entered(folder: Path, chosen: FolderSettings, out: Path | None) -> bool:
    """Return whether takes are looked for in a folder below: not where takemill writes."""
    ours = folder in (out, folder.parent / OUT_NAME)
    return not (ours or is_hidden(folder.name) or any(folder.match(pattern) for pattern in chosen.exclude))


def _is_folder(entry: "os.DirEntry[str]") -> bool:
    try:
        return entry.is_dir(follow_symlinks=False)
    except OSError:
        return False


def _updated(before: Mapping[Path, Stamp], fresh: Mapping[Path, Stamp | None]) -> dict[Path, Stamp]:
    now = dict(before)
    for path in fresh.keys() & before.keys():
        seen = fresh[path]
        if seen is None:
            del now[path]
        else:
            now[path] = seen
    return now


def _says_how(name: str, settings: Settings) -> bool:
    return name == SETTINGS_NAME or is_tempo_map_name(name) or is_chart_name(name, settings)


def _is_companion(name: str, settings: Settings) -> bool:
    sounds = Path(name).suffix.lower() in AUDIO_SUFFIXES and not is_hidden(name)
    return sounds and is_companion_name(name, settings)


def _named_by(path: Path, out: Path | None) -> list[Path]:
    if os.path.isdir(path):
        try:
            return takes_in(path, out)
        except OSError as error:
            raise BatchError(f"{path}: cannot be listed ({error.strerror}); check its permissions") from error
    if not os.path.exists(path):
        raise BatchError(f"{path}: is not there; check the spelling")
    if not path.is_file():
        raise BatchError(f"{path}: is no file but a device or a pipe; name a recording")
    companion = is_companion_name(path.name, settings_or_defaults(absolute(path).parent))
    if (companion or not is_take_name(path.name)) and path.suffix.lower() in TAKE_SUFFIXES:
        other = "a tempo map, a companion, a hidden or partial file, or one that takemill wrote"
        raise BatchError(f"{path}: is no take but {other}; name a recording")
    if not is_take_name(path.name):
        known = " ".join(sorted(TAKE_SUFFIXES))
        raise BatchError(f"{path}: is no take; takes end in {known}")
    return [absolute(path)]
