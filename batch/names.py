"""What a take's files are called, so that no two takes share a file."""

import hashlib
import os
import re
from collections import Counter, defaultdict
from collections.abc import Iterable
from itertools import count
from pathlib import Path
from unicodedata import normalize

OUT_NAME = "markers"
"""The folder written to, in that of the takes, where no other is asked for."""

ANALYSIS_SUFFIX = ".analysis.json"
MAIN_SUFFIXES = (".markers.mid", ".cues.csv", ANALYSIS_SUFFIX)
"""What every take has; other files are written on request."""
SESSION_SUFFIXES = (".session-markers.mid", ".session-cues.csv")
"""What a folder's takes are written to as one session; no take's own files end so."""
COPY_SUFFIXES = (".markers.wav", ".chapters.mp3", ".chapters.flac", ".chapters.ogg", ".chapters.opus")
"""What copies of recordings end in that carry their phrases."""
OUTPUT_SUFFIXES = (*MAIN_SUFFIXES, ".notes.mid", *SESSION_SUFFIXES, *COPY_SUFFIXES)
"""What takemill writes that could be a take by its kind; a file that ends so is never taken for one."""
KNOWN_BY_BEGINNING = (*MAIN_SUFFIXES, ".notes.mid", *SESSION_SUFFIXES)
"""What bears no mark: a file that ends so is takemill's if it begins as such files do."""
TAKEN_NAMES = ("listen.html", "phrases.svg", "playlist.xspf", "playlist.m3u8", "catalogue.sqlite")
TAKEN_ENDINGS = (*OUTPUT_SUFFIXES, ".listen.html", ".phrases.svg", ".chapters.vtt", ".session-chapters.vtt",
                 ".timeline.otio", ".session-timeline.otio")  # fmt: skip
"""What takemill's own files are called, or end in; no other package's exporter writes to such names."""
BROUGHT_TAKE_ENDING = re.compile(r"\.[a-z0-9]+(-[a-z0-9]+)*-markers$")
"""What the stem of a file ends in that another package wrote and that could be a take by its kind."""

MADE_BY = "Made by takemill"
"""What every other file on request bears near its start or its end, so that one by somebody else is known
and left alone."""
HTML_MARK = '<meta name="generator" content="takemill">'
SVG_MARK = "<!-- takemill -->"
"""The same for pages and pictures."""

LONGEST_NAME = 223
"""Bytes of a NAME: file systems hold 255 (POSIX NAME_MAX), and 32 are left for what it ends in."""


def absolute(path: Path) -> Path:
    """Return a path as the catalogue has it: absolute, without ``..``, links left as they are."""
    return Path(os.path.abspath(path))  # noqa: PTH100  Path.absolute keeps the ..


def natural(name: str) -> list[tuple[int, str]]:
    """Return a key that sorts take 2 before take 10."""
    parts = re.findall(r"([0-9]+)|([^0-9]+)", name.casefold())
    return [(int(number), "") if number else (-1, word) for number, word in parts]


def fold(name: str) -> str:
    """Return what two names share that a disk may take for one: case and accents spelled alike.

    Canonical caseless matching (The Unicode Standard, 3.13, D145), composed.
    """
    return normalize("NFC", normalize("NFD", name).casefold())


def kinship(path: Path) -> frozenset[str]:
    """Return what a take's name may be read as: takes with none of it in common never share a NAME."""
    return frozenset({fold(path.stem), fold(path.name)})


def output_names(takes: Iterable[Path]) -> dict[Path, str]:
    """Return the NAME of each take's files.

    The file name without its extension; takes that would share it keep their extension;
    takes of one file name from several folders put the folder's name in front, then the
    next folder's, until all differ; what no folder tells apart is numbered. Case is no
    difference, since many disks keep none. A name too long for its files is cut.
    """
    twins = _twins(sorted(set(takes)))
    levels = {paths[0]: 0 for paths in twins}
    for _ in range(max((len(path.parts) for path in levels), default=0) + 1):
        clashing = _clashing({path: _spelled(path, level) for path, level in levels.items()})
        levels |= {path: levels[path] + 1 for path in clashing}
    names = {path: _spelled(path, levels[paths[0]]) for paths in twins for path in paths}
    names = {path: _cut(name) for path, name in names.items()}
    return names | _numbered(_clashing(names), names)


def _twins(paths: list[Path]) -> list[list[Path]]:
    """Return the paths in groups that a disk without case would take for one."""
    groups: defaultdict[str, list[Path]] = defaultdict(list)
    for path in paths:
        groups[fold(str(path))].append(path)
    return list(groups.values())


def _cut(name: str) -> str:
    """Return a name that fits, the end of a long one replaced by a fingerprint of the whole."""
    content = name.encode()
    if len(content) <= LONGEST_NAME:
        return name
    print_ = hashlib.blake2b(content, digest_size=4).hexdigest()
    kept = content[: LONGEST_NAME - len(print_) - 1].decode(errors="ignore")
    return f"{kept}~{print_}"


def _numbered(clashing: list[Path], names: dict[Path, str]) -> dict[Path, str]:
    """Return the names of ``clashing``, the second and later of each with the first number nobody has."""
    taken = {fold(name) for name in names.values()}
    numbered: dict[Path, str] = {}
    first: set[str] = set()
    for path in clashing:
        if fold(names[path]) not in first:
            first.add(fold(names[path]))
            continue
        tries = (f"{names[path]}-{number}" for number in count(2))
        numbered[path] = next(name for name in tries if fold(name) not in taken)
        taken.add(fold(numbered[path]))
    return numbered


def _clashing(names: dict[Path, str]) -> list[Path]:
    uses = Counter(fold(name) for name in names.values())
    return sorted(path for path, name in names.items() if uses[fold(name)] > 1)


def _spelled(path: Path, level: int) -> str:
    """Return the stem; from level 1 the file name; from level 2 with folders in front."""
    if level == 0:
        return path.stem
    parents = [part for part in path.parent.parts if part != path.anchor]
    return "-".join([*parents[max(len(parents) - level + 1, 0) :], path.name])
