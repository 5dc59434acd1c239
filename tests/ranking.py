"""Entries in their order, as the catalogue and the ranking make it together."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from batch.entry import Entry, Scored, State
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


def done(name: str, score: float | None, **more: object) -> Entry:
    spread = None if score is None else 5.0
    entry = Entry(
        Path("/gig") / name,
        State.DONE,
        duration_s=61.2345,
        phrases=12,
        score=score,
        low=None if spread is None else score - spread,
        high=None if spread is None else score + spread,
        parts={"length": 0.5, "groove": None},
    )
    return replace(entry, **more)
