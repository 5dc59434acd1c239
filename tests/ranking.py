"""Entries in their order, as the catalogue and the ranking make it together."""

from collections.abc import Sequence

from batch.entry import Entry, Scored
from batch.rank import BY_SCORE, Ranked, rank


def ranked(entries: Sequence[Entry], *, by: str = BY_SCORE) -> list[Ranked]:
    by_file = {str(entry.path): entry for entry in entries}
    scored = [
        Scored(file, entry.score, entry.low, entry.high)
        if by == BY_SCORE
        else Scored(file, (entry.parts or {}).get(by))
        for file, entry in by_file.items()
    ]
    return [Ranked(by_file[place.file], place) for place in rank(scored)]
