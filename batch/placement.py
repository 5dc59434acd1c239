"""Where in the session a take starts: as set, else as its Broadcast Wave time reference says."""

import re
from typing import TYPE_CHECKING

from batch.errors import TakeError
from batch.model import Grid, Placement, TakeInfo
from batch.settings import GridSettings
from batch.tempo import TICKS_PER_QUARTER, TempoMap

if TYPE_CHECKING:  # a session is laid out without the libraries that takes are read with
    from batch.takes import Take

DAY_S = 24 * 3600
SETTINGS, TIME_REFERENCE = "settings", "time reference"
_SAME_PLACE_S = 0.05
"""Places no further apart are one, rounded (our choice)."""
_CLOCK_AGREES_S = 60.0
"""A time reference this close to the time of day at which the file says it was recorded is a clock's
(our choice); any other is a place in a session, the same on every day."""


def place(take: "Take", chosen: GridSettings, session_map: TempoMap | None) -> Placement | None:
    """Return where the take starts, None where nothing says so.

    Raises
    ------
    TakeError
        If that is before the session's zero, or a bar that the session's map does not have.
    """
    zero_reads_s = chosen.session_starts_at_s
    if chosen.starts_at_s is not None:
        return Placement(chosen.starts_at_s, zero_reads_s, SETTINGS)
    if chosen.bar_and_beat is not None:
        return Placement(_start_of_bar(take, chosen, session_map), zero_reads_s, SETTINGS)
    if take.info.time_reference_s is None:
        return None
    start_s = from_zero(take.info.time_reference_s - zero_reads_s)
    if start_s < 0:
        problem = f"starts {-start_s:,.3f} s before the session's zero by its time reference"
        remedy = "lower grid.session_starts_at_s in takemill.toml, or set grid.starts_at_s"
        raise TakeError(take.path, problem, remedy)
    return Placement(start_s, zero_reads_s, TIME_REFERENCE)


def starts_at_s(take: "Take", chosen: GridSettings, session_map: TempoMap | None = None) -> float:
    """Return where in the session the take starts, the session's zero where nothing says so; TakeError."""
    placed = place(take, chosen, session_map)
    return placed.starts_at_s if placed else 0.0


def from_zero(start_s: float) -> float:
    """Return a time since the session's zero, by a clock that starts again at midnight.

    What lies more than half a day before the zero lies after the midnight that follows it (our choice).
    """
    return start_s + DAY_S if start_s < -DAY_S / 2 else start_s


def clock_day(time_reference_s: float | None, recorded_at: str | None) -> str | None:
    """Return the day on which a take was recorded, if its time reference is the time of that day."""
    stamped = re.fullmatch(r"(\d{4}-\d\d-\d\d)[ T](\d\d):(\d\d):(\d\d).*", recorded_at or "")
    if stamped is None or time_reference_s is None:
        return None
    day, *time = stamped.groups()
    of_day_s = sum(int(part) * unit for part, unit in zip(time, (3600, 60, 1), strict=True))
    return day if abs(of_day_s - time_reference_s) <= _CLOCK_AGREES_S else None


def place_warnings(take: TakeInfo, placed: Placement | None, grid: Grid | None) -> tuple[str, ...]:
    """Return what the player should know of a take's place.

    That its time reference contradicts the settings, or that a clock put it on the session's map.
    """
    if placed is not None and placed.source == SETTINGS and take.time_reference_s is not None:
        by_reference_s = from_zero(take.time_reference_s - placed.zero_reads_s)
        if abs(by_reference_s - placed.starts_at_s) > _SAME_PLACE_S:
            return (
                f"the settings put it {placed.starts_at_s:,.3f} s into the session, its time reference"
                f" {by_reference_s:,.3f} s: the settings were followed",
            )
    on_map = grid is not None and grid.spans_session and placed is not None
    if not on_map or placed is None or placed.source != TIME_REFERENCE or placed.zero_reads_s:
        return ()
    if clock_day(take.time_reference_s, take.recorded_at) is None:
        return ()
    hours = f"{placed.starts_at_s / 3600:.1f} hours"
    return (
        f"its time reference is the time of day, which puts it {hours} into the tempo map: set"
        " grid.session_starts_at_s to what the clock read at the session's zero, or grid.starts_at_s",
    )


def map_of_settings(chosen: GridSettings) -> TempoMap | None:
    """Return a map of the tempo and the meter that are set, None where no tempo is."""
    if chosen.tempo_bpm is None:
        return None
    return TempoMap.constant(chosen.tempo_bpm, chosen.meter_pair, TICKS_PER_QUARTER)


def _start_of_bar(take: "Take", chosen: GridSettings, session_map: TempoMap | None) -> float:
    assert chosen.bar_and_beat is not None
    tempo_map = session_map or map_of_settings(chosen)
    asked = f"starts at bar {chosen.starts_at_bar} by grid.starts_at_bar"
    if tempo_map is None:
        remedy = "put tempo.mid beside it, or set grid.tempo_bpm in takemill.toml"
        raise TakeError(take.path, f"{asked}, and no tempo map says when that is", remedy)
    try:
        return tempo_map.seconds_at(tempo_map.tick_of(*chosen.bar_and_beat))
    except ValueError as error:
        raise TakeError(take.path, f"{asked}, but {error}", "correct it in takemill.toml") from error
