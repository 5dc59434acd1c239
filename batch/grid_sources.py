"""The grid from the best source there is."""

from batch.grid import grid_from_map, grid_from_tempo
from batch.model import Grid
from batch.placement import map_of_settings, starts_at_s
from batch.settings import Settings
from batch.takes import MidiTake, Take
from batch.tempo import TempoMap


def find_grid(take: Take, settings: Settings, session_map: TempoMap | None) -> Grid | None:
    """Return the grid from the best source there is: session map, MIDI take's own map, settings.

    Raises
    ------
    TakeError
        If the take would start before the session's zero, or at a bar that there is not.
    """
    chosen = settings.grid_for(take.path.name)
    duration_s = take.info.duration_s
    if session_map is not None:
        return grid_from_map(
            session_map,
            duration_s=duration_s,
            starts_at_s=starts_at_s(take, chosen, session_map),
            source="tempo map",
            spans_session=True,
        )
    if isinstance(take, MidiTake):
        return grid_from_map(take.tempo_map, duration_s=duration_s, starts_at_s=0.0, source="midi take")
    if chosen.starts_at_bar and (session_tempo := map_of_settings(chosen)):
        return grid_from_map(
            session_tempo,
            duration_s=duration_s,
            starts_at_s=starts_at_s(take, chosen),
            source="settings",
            spans_session=True,
        )
    if chosen.tempo_bpm is not None:
        return grid_from_tempo(
            chosen.tempo_bpm,
            chosen.meter_pair,
            duration_s=duration_s,
            first_downbeat_s=chosen.first_downbeat_s,
            count_in_bars=chosen.count_in_bars,
            source="settings",
        )
    return None
