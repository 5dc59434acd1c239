"""One module a format: a finished analysis in, bytes out."""

from batch.settings import Settings
from exporters.analysis_json import AnalysisJson
from exporters.base import Exporter
from exporters.csv_cues import CsvCues
from exporters.midi_markers import MidiMarkers, MidiNotes
from exporters.session_cues import SessionCues
from exporters.session_markers import SessionMarkers

__all__ = ["Exporter", "exporters_for", "session_exporters_for"]


def exporters_for(settings: Settings) -> tuple[Exporter, ...]:
    """Return the exporters that the settings ask for, the analysis last.

    A take counts as written once its analysis is there, so that one goes to disk last.
    """
    markers, cues = settings.markers, settings.cues
    chosen: list[Exporter] = [
        MidiMarkers(
            markers.midi_format,
            markers.event,
            markers.spans,
            markers.session_tempo_bpm,
            markers.counts_from,
            markers.devices,
        ),
        CsvCues(
            cues.columns,
            cues.separator,
            cues.time_base,
            cues.frame_rate,
            cues.sample_rate_hz,
            cues.counts_from,
        ),
    ]
    if markers.notes_file:
        chosen.append(MidiNotes(markers.session_tempo_bpm, markers.counts_from))
    return (*chosen, AnalysisJson())


def session_exporters_for(settings: Settings) -> tuple[SessionMarkers, SessionCues]:
    """Return the exporters of a session's marker file and cue list, shaped as those of a take."""
    markers, cues = settings.markers, settings.cues
    return (
        SessionMarkers(markers.midi_format, markers.event, markers.spans, markers.session_tempo_bpm),
        SessionCues(cues.columns, cues.separator, cues.time_base, cues.frame_rate, cues.sample_rate_hz),
    )
