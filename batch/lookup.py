"""Which take a player means, and whether its recording is still there."""

import difflib
import os
from collections.abc import Mapping, Sequence
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
        hint = f"did you mean {close[0]}?" if close else "see takemill rank for what is"
        raise BatchError(f"{asked}: is not in the catalogue; {hint}")
    return found[0]


def present(files: Mapping[Path, Sequence[str]]) -> set[str]:
    """Return which of the catalogue's keys, by the folder they lie in, have a recording that is there.

    Each folder is listed once; as with :func:`is_there`, one out of reach says nothing.
    """
    found: set[str] = set()
    for folder, keys in files.items():
        try:
            with os.scandir(folder) as listing:
                prefix = keys[0].removesuffix(os.path.basename(keys[0]))  # noqa: PTH119  the end as it is
                found |= {prefix + entry.name for entry in listing} & set(keys)
        except OSError:
            found.update(keys)
    return found


def is_there(recording: Path) -> bool:
    """Return whether a recording exists, as far as can be told: a folder out of reach says nothing."""
    return os.path.exists(recording) or not os.path.isdir(recording.parent)


def _names_of(entry: Entry) -> set[str]:
    names = {entry.name, entry.path.name, entry.path.stem, entry.title}
    return {name.casefold() for name in names if name}
