"""What a take's files are called, so that no two takes share a file."""

import os
from collections import Counter
from collections.abc import Iterable
from itertools import count
from pathlib import Path

ANALYSIS_SUFFIX = ".analysis.json"
SESSION_SUFFIXES = (".session-markers.mid", ".session-cues.csv")
"""What a folder's takes are written to as one session; no take's own files end so."""
OUTPUT_SUFFIXES = (".markers.mid", ".notes.mid", ".cues.csv", ANALYSIS_SUFFIX, *SESSION_SUFFIXES)
"""What takemill writes; a file that ends so is never taken for a take."""


def absolute(path: Path) -> Path:
    """Return a path as the catalogue has it: absolute, without ``..``, links left as they are."""
    return Path(os.path.abspath(path))  # noqa: PTH100  Path.absolute keeps the ..


def output_names(takes: Iterable[Path]) -> dict[Path, str]:
    """Return the NAME of each take's files.

    The file name without its extension; takes that would share it keep their extension;
    takes of one file name from several folders put the folder's name in front, then the
    next folder's, until all differ; what no folder tells apart is numbered. Case is no
    difference, since many disks keep none.
    """
    paths = sorted(set(takes))
    names = {path: path.stem for path in paths}
    longest = max((len(path.parts) for path in paths), default=0)
    for level in range(longest + 1):
        clashing = _clashing(names)
        if not clashing:
            break
        names |= {path: _longer(path, level) for path in clashing}
    return names | _numbered(_clashing(names), names)


def _numbered(clashing: list[Path], names: dict[Path, str]) -> dict[Path, str]:
    """Return the names of ``clashing`` with the first number after each that nobody has."""
    taken = {name.casefold() for name in names.values()}
    numbered = {}
    for path in clashing:
        tries = (f"{names[path]}-{number}" for number in count(1))
        numbered[path] = next(name for name in tries if name.casefold() not in taken)
        taken.add(numbered[path].casefold())
    return numbered


def _clashing(names: dict[Path, str]) -> list[Path]:
    uses = Counter(name.casefold() for name in names.values())
    return [path for path, name in names.items() if uses[name.casefold()] > 1]


def _longer(path: Path, folders: int) -> str:
    parents = [part for part in path.parent.parts if part != path.anchor]
    return "-".join([*parents[len(parents) - folders :], path.name] if folders else [path.name])
