"""The takes of a folder laid out as one session: by their places, else one after another."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import accumulate

from batch.model import Placement
from batch.names import natural
from batch.outline import Outline
from batch.placement import DAY_S, TIME_REFERENCE, clock_day, from_zero
from batch.settings import SessionSettings
from batch.tempo import TempoMap

_OVERLAP_S = 0.05
"""Takes cut from one recording may share this much (our choice)."""
_FAR_S = 3600.0
"""A first take this far into the session is hardly meant so (our choice)."""
_NAMED = 3


@dataclass(frozen=True, slots=True)
class SessionTake:
    """A take by the name of its files and its own; without an outline if it could not be heard.

    ``recording`` is the way to its file from the folder that the session's files lie in, with slashes.
    """

    name: str
    file: str
    outline: Outline | None
    recording: str = ""


@dataclass(frozen=True, slots=True)
class Placed:
    """A take, and where in the session's files it starts."""

    take: SessionTake
    start_s: float

    @property
    def end_s(self) -> float:
        """Where it ends; a take that could not be heard has no length."""
        return self.start_s + (self.take.outline.duration_s if self.take.outline else 0.0)


@dataclass(frozen=True, slots=True)
class Layout:
    """A session: its takes in order, and what the player should know of how they were placed.

    ``map_print`` and ``map_starts_at_s`` are the tempo map that all placed takes share and where in it the
    files' zero lies; ``zero_reads_s`` is what the session's clock reads there. ``session_map`` is that tempo
    map itself, once it has been read.
    """

    takes: tuple[Placed, ...]
    remarks: tuple[str, ...] = ()
    map_print: str | None = None
    map_starts_at_s: float = 0.0
    zero_reads_s: float = 0.0
    session_map: TempoMap | None = None


def lay_out(takes: Iterable[SessionTake], settings: SessionSettings) -> Layout:
    """Place every take: where its settings or its time reference say, else after all that are placed.

    Takes are in the order of their starts; those that nothing places follow by the date of their recording,
    then by name, ``settings.gap_s`` apart.
    """
    known, loose = _sorted_out(takes)
    from_first = bool(known) and _counts_from_first(known[0], settings)
    zero_s = known[0].start_s if from_first else 0.0
    placed = [replace(one, start_s=one.start_s - zero_s) for one in known]
    cursor_s = max((one.end_s + settings.gap_s for one in placed), default=0.0)
    for take in sorted(loose, key=_by_date):
        placed.append(Placed(take, cursor_s))
        cursor_s = placed[-1].end_s + (settings.gap_s if take.outline else 0.0)
    return Layout(
        tuple(placed),
        tuple(_remarks(placed, loose, zero_s)),
        _shared_map(placed, loose),
        zero_s,
        zero_s + next((p.zero_reads_s for p in map(_placement, placed) if p), 0.0),
    )


def _counts_from_first(first: Placed, settings: SessionSettings) -> bool:
    """Return whether the files count from the first take's start."""
    if settings.counts_from != "auto":
        return settings.counts_from == "first-take"
    outline = first.take.outline
    is_midnight = (
        outline is not None and outline.placement is not None and outline.placement.zero_reads_s == 0
    )
    return outline is not None and is_midnight and _clock_day(outline) is not None


def _sorted_out(takes: Iterable[SessionTake]) -> tuple[list[Placed], list[SessionTake]]:
    """Return the takes that have a place, by start, and those that have none."""
    takes = list(takes)
    days = _days([take.outline for take in takes if take.outline])
    silent = _says_nothing(takes)
    starts = [(take, None if silent else _start_s(take.outline, days)) for take in takes]
    known = [Placed(take, start_s) for take, start_s in starts if start_s is not None]
    known.sort(key=lambda one: (one.start_s, _by_date(one.take)))
    return known, [take for take, start_s in starts if start_s is None]


def _says_nothing(takes: Sequence[SessionTake]) -> bool:
    """Return whether all of several takes have a time reference of 0, as programs that know none write."""
    places = [take.outline for take in takes if take.outline and take.outline.placement]
    return len(places) > 1 and all(
        outline.time_reference_s == 0 and outline.placement.source == TIME_REFERENCE
        for outline in places
        if outline.placement
    )


def _start_s(outline: Outline | None, days: dict[str, int]) -> float | None:
    """Return where in the session a take starts, counting on from day to day by a clock."""
    if outline is None or outline.placement is None:
        return None
    day = _clock_day(outline)
    if day is None or day not in days or outline.time_reference_s is None:
        return outline.placement.starts_at_s
    start_s = outline.time_reference_s + DAY_S * days[day] - outline.placement.zero_reads_s
    return max(0.0, from_zero(start_s))


def _days(outlines: Iterable[Outline]) -> dict[str, int]:
    """Return the number of each day on which takes were stamped by a clock, the first one's 0."""
    dates = {day: found for day in map(_clock_day, outlines) if day and (found := _date(day))}
    return {day: (found - min(dates.values())).days for day, found in dates.items()}


def _date(day: str) -> date | None:
    try:
        return date.fromisoformat(day)
    except ValueError:
        return None


def _clock_day(outline: Outline) -> str | None:
    """Return the date of a take that a clock placed."""
    if outline.placement is None or outline.placement.source != TIME_REFERENCE:
        return None
    return clock_day(outline.time_reference_s, outline.recorded_at)


def _by_date(take: SessionTake) -> tuple[bool, str, list[tuple[int, str]]]:
    recorded_at = take.outline.recorded_at if take.outline else None
    return recorded_at is None, recorded_at or "", natural(take.name)


def _placement(one: Placed) -> Placement | None:
    return one.take.outline.placement if one.take.outline else None


def _shared_map(placed: Sequence[Placed], loose: Sequence[SessionTake]) -> str | None:
    """Return the fingerprint of the map that all takes lie on, None if there is no such map."""
    outlines = [one.take.outline for one in placed if one.take.outline]
    prints = {outline.map_print for outline in outlines}
    is_alone = len(outlines) == 1
    if len(prints) != 1 or (any(take.outline for take in loose) and not is_alone):
        return None
    return prints.pop()


def _remarks(placed: Sequence[Placed], loose: Sequence[SessionTake], zero_s: float) -> Iterable[str]:
    heard = [take for take in loose if take.outline]
    known = len(placed) - len(loose)
    if known and heard:
        yield f"{_listed([take.file for take in heard])}: no time reference, laid after the others"
    if not known and _says_nothing([one.take for one in placed]):
        yield "every time reference is 0, which says nothing; laid one after another"
    place = _placement(placed[0]) if known else None
    if place and placed[0].start_s >= _FAR_S and place.zero_reads_s == 0:
        yield (
            f"the first take starts {placed[0].start_s / 3600:.1f} hours into the session;"
            ' set grid.session_starts_at_s, or session.counts_from = "first-take"'
        )
    if place and zero_s:
        reads_s = round(place.zero_reads_s + zero_s)
        clock = f"{reads_s // 3600 % 24}:{reads_s // 60 % 60:02}:{reads_s % 60:02}"
        yield f"0 is the start of {placed[0].take.file}, where the session's clock reads {clock}"
    yield from _overlaps(placed)
    failed = [take.file for take in loose if not take.outline]
    if failed:
        yield f"{_listed(failed)}: could not be heard, marked where it would stand"


def _overlaps(placed: Sequence[Placed]) -> Iterable[str]:
    """Yield a line that names takes which sound at the same time as an earlier one."""
    latest = accumulate(placed, _later_end)
    pairs = [
        f"{before.take.file} and {one.take.file}"
        for before, one in zip(latest, placed[1:], strict=False)
        if min(before.end_s, one.end_s) - one.start_s > _OVERLAP_S
    ]
    if pairs:
        yield f"{_listed(pairs)} overlap; their markers lie side by side"


def _later_end(one: Placed, other: Placed) -> Placed:
    return one if one.end_s > other.end_s else other


def _listed(names: Sequence[str]) -> str:
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return ", ".join(names[:_NAMED]) + more
