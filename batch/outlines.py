"""Outlines of many takes: kept in the catalogue, so that an analysis is read once for all that needs them."""

from collections.abc import Sequence
from pathlib import Path

from batch.catalogue import Catalogue
from batch.entry import Entry, State
from batch.outline import FORMAT, Outline, dump_outline, outline_of, parse_outline
from batch.shelf import Shelf


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
