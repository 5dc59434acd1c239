"""Which take a player means, and whether its recording is still there."""

import difflib
import os
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from batch.entry import Entry
from batch.errors import BatchError
from batch.names import absolute


def find_take(asked: str, entries: Sequence[Entry]) -> Entry:
    """Return the take of this path, or else of this file name, name or title, whatever its case.

    Raises
    ------
    BatchError
        If there is none, with the nearest name; if there are several, with their paths.
    """
    path = absolute(Path(asked))
    exact = [entry for entry in entries if entry.path == path]
    found = exact or [entry for entry in entries if asked.casefold() in _names_of(entry)]
    if len(found) > 1:
        paths = ", ".join(str(entry.path) for entry in found)
        raise BatchError(f"{asked}: is the name of {len(found)} takes; say which: {paths}")
    if not found:
        known = [name for entry in entries for name in _names_of(entry)]
        close = difflib.get_close_matches(asked.casefold(), known, n=1)
        hint = f"did you mean {close[0]}?" if close else "takemill rank lists them"
        raise BatchError(f"{asked}: is none of the takes heard here; {hint}")
    return found[0]


def present(files: Iterable[str], folders: Mapping[Path, str], home: Path) -> set[str]:
    """Return which of the catalogue's keys have a recording that is there, as :func:`is_there` has it.

    Each of the ``folders``, with what keys in it begin with, is listed once.
    """
    listed: set[str] = set()
    unseen: list[str] = []
    for folder, prefix in folders.items():
        try:
            with os.scandir(folder) as listing:
                listed.update([prefix + entry.name for entry in listing])
        except OSError:
            if is_there(folder, home):
                unseen.append(prefix)
    wanted = set(files)
    found = wanted & listed
    if unseen:
        found |= {key for key in wanted - found if key.removesuffix(os.path.basename(key)) in unseen}  # noqa: PTH119
    return found


def is_there(path: Path, home: Path) -> bool:
    """Return whether a recording exists, as far as can be told.

    One in a folder that is not there is gone if that lay in ``home``, the folder that was written
    into; elsewhere it may be on a disk that is out of reach, as is what may not be looked at.
    """
    try:
        path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return not (path.parent.is_dir() or path.is_relative_to(home))
    except (OSError, ValueError):
        return True
    return True


def way_between(folder: Path, recording: Path) -> str:
    """Return the way from a folder to a recording, with slashes; absolute where no relative one leads there.

    That is so on another drive, and where a link on the way makes ``..`` another folder than it says.
    """
    try:
        way = os.path.relpath(recording, folder)
    except ValueError:  # on another drive
        return recording.as_posix()
    led_to = Path(os.path.realpath(folder)) / way
    leads_there = os.path.realpath(led_to) == os.path.realpath(recording)
    return Path(way).as_posix() if leads_there else recording.as_posix()


def folder_name(folders: Iterable[Path], home: Path) -> str:
    """Return the name of the folder that all takes lie in, at whatever depth, or of ``home``."""
    try:
        return Path(os.path.commonpath(list(folders))).name or home.name
    except ValueError:  # there are no takes, or they lie on several drives
        return home.name


def _names_of(entry: Entry) -> set[str]:
    names = {entry.name, entry.path.name, entry.path.stem, entry.title}
    return {name.casefold() for name in names if name}
