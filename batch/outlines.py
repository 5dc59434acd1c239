"""Outlines of many takes: kept in the catalogue, so that an analysis is read once for all that needs them."""

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from batch.catalogue import Catalogue
from batch.entry import Entry, State
from batch.outline import FORMAT, Outline, dump_outline, outline_of, parse_outline
from batch.shelf import Shelf

_AT_ONCE = 200
"""Takes whose analyses are read before what was learnt is kept: so much is lost if it is stopped."""


def read_outlines(
    entries: Sequence[Entry], catalogue: Catalogue, shelf: Shelf, advance: Callable[[int], None]
) -> Iterator[tuple[Path, Outline]]:
    """Yield the outlines that there are of many takes; ``advance`` is told of takes that were read.

    Where the catalogue takes none in, they are made again next time.
    """
    keep = True
    for first in range(0, len(entries), _AT_ONCE):
        some = entries[first : first + _AT_ONCE]
        try:
            found = outlines_of(some, catalogue, shelf, keep=keep)
        except sqlite3.OperationalError:  # locked by another process, or on a disk that may not be written
            keep = False
            found = outlines_of(some, catalogue, shelf, keep=False)
        yield from found.items()
        advance(len(some))


def outlines_of(
    entries: Sequence[Entry], catalogue: Catalogue, shelf: Shelf, *, keep: bool = True
) -> dict[Path, Outline]:
    """Return the outlines of those takes that are done and whose analysis is there; ``keep`` those made."""
    done = [entry for entry in entries if entry.state is State.DONE]
    kept, fresh = catalogue.outlines([entry.path for entry in done]), []
    found: dict[Path, Outline] = {}
    for entry in done:
        of = f"{FORMAT} {entry.content_hash} {entry.recipe}"
        outline = _kept(kept.get(entry.path), of)
        if outline is None and (analysis := shelf.read(entry)):
            outline = outline_of(analysis)
            fresh.append((entry.path, of, dump_outline(outline)))
        if outline:
            found[entry.path] = outline
    if fresh and keep:
        catalogue.keep_outlines(fresh)
    return found


def _kept(found: tuple[str, bytes] | None, of: str) -> Outline | None:
    if found is None or found[0] != of:
        return None
    try:
        return parse_outline(found[1])
    except ValueError:
        return None
