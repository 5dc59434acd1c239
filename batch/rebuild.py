"""A catalogue made anew from the analyses beside it, when it is gone or damaged."""

import os
from collections.abc import Iterator
from pathlib import Path

from batch.catalogue import Catalogue
from batch.contract import parse_analysis
from batch.entry import Entry, State, summarise
from batch.errors import BatchError
from batch.names import ANALYSIS_SUFFIX
from batch.regular import read_whole

_AT_ONCE = 200
"""Takes stored together (our choice)."""


def rebuild(catalogue: Catalogue, folder: Path) -> int:
    """Enter the takes whose analyses lie in ``folder``; return how many.

    They are ranked at once. The next run sees that they have no stamp, knows them by their
    content, and hears none again. Takes that failed or waited are found by that run too.
    """
    found, entries = 0, []
    for entry in _entries_of(folder):
        found += 1
        entries.append(entry)
        if len(entries) == _AT_ONCE:
            catalogue.put(*entries)
            entries.clear()
    catalogue.put(*entries)
    return found


def _entries_of(folder: Path) -> Iterator[Entry]:
    for path in sorted(folder.glob(f"*{ANALYSIS_SUFFIX}")):
        try:
            analysis = parse_analysis(read_whole(path), path)
        except (OSError, BatchError):
            continue  # its take is heard again
        take = analysis.take
        if take.recipe is None or not _is_a_path(take.recording):
            continue
        recording = Path(os.path.normpath(folder.absolute() / str(take.recording)))
        entry = Entry(
            recording,
            State.DONE,
            content_hash=take.content_hash,
            recipe=take.recipe,
            name=path.name.removesuffix(ANALYSIS_SUFFIX),
        )
        yield summarise(entry, analysis)


def _is_a_path(text: str | None) -> bool:
    """Return whether a text that anybody may have written can be the way to a file."""
    return text is not None and text != "" and "\0" not in text
