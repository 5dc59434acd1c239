"""What a playlist holds, whatever its format: recordings in an order, and what a player shows of each."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from batch.entry import Entry
from batch.names import MADE_BY
from batch.overview import Overview
from batch.rank import BY_SCORE, Ranked
from batch.words import count, number, titles_of


@dataclass(frozen=True, slots=True)
class Track:
    """A recording to play.

    ``link`` is the way to it with slashes, from the folder that the playlist lies in, or absolute. ``note``
    says in words why it stands where it does.
    """

    link: str
    title: str
    creator: str | None = None
    duration_s: float | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Playlist:
    """Recordings in their order; ``note`` says which order that is, and bears takemill's mark."""

    title: str
    note: str
    tracks: tuple[Track, ...]


def playlist_of_ranking(
    title: str, ranked: Sequence[Ranked], by: str, links: Sequence[str], players: Mapping[Path, str | None]
) -> Playlist:
    """Return takes in the order of a ranking; ``links`` are the ways to them, ``players`` by their paths."""
    titles = titles_of([take.entry for take in ranked])
    tracks = (
        Track(link, shown, players.get(take.entry.path), take.entry.duration_s, _note(take, by))
        for take, link, shown in zip(ranked, links, titles, strict=True)
    )
    return Playlist(f"{title} by {_words(by)}", _order(by), tuple(tracks))


def playlist_of_overview(overview: Overview) -> Playlist:
    """Return the takes of an output folder, most varied first."""
    takes = overview.takes
    playlist = playlist_of_ranking(
        overview.title,
        [Ranked(take.entry, take.place) for take in takes],
        BY_SCORE,
        [take.recording for take in takes],
        {take.entry.path: take.outline.player for take in takes if take.outline},
    )
    if not overview.more:
        return playlist
    return replace(playlist, note=f"{playlist.note}; {count(overview.more, 'take')} more not listed")


def _note(take: Ranked, by: str) -> str:
    """Return a take's place and what it was given for: ``place 2-3, variety 72 (65 to 79)``."""
    place = take.place
    told = [f"place {place}"] if place.value is not None else []
    if by != BY_SCORE:
        told.append(f"{_words(by)} {'not measured' if place.value is None else number(place.value)}")
    return ", ".join([*told, _score_words(take.entry)])


def _score_words(entry: Entry) -> str:
    if entry.score is None:
        return f"no variety score: {entry.why_null}" if entry.why_null else "no variety score"
    if entry.low is None or entry.high is None:
        return f"variety {number(entry.score)}"
    return f"variety {number(entry.score)} ({number(entry.low)} to {number(entry.high)})"


def _order(by: str) -> str:
    order = "most varied first" if by == BY_SCORE else f"by {_words(by)}, highest first"
    return f"{MADE_BY}: {order}"


def _words(by: str) -> str:
    return by.replace("_", " ")
