"""One module a format: a finished analysis in, bytes out."""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass

from batch.settings import Settings
from exporters.analysis_json import AnalysisJson
from exporters.base import Exporter, OverviewExporter, There
from exporters.csv_cues import CsvCues
from exporters.midi_markers import MidiMarkers, MidiNotes
from exporters.page import TakePage, TakesPage
from exporters.pictures import TakePicture, TakesPicture
from exporters.session_cues import SessionCues
from exporters.session_markers import SessionMarkers

__all__ = ["EXTRAS", "Exporter", "exporters_for", "overview_exporters_for", "session_exporters_for"]


@dataclass(frozen=True, slots=True)
class Extra:
    """Files that are written on request: one for each take, and maybe one for all of a folder."""

    asked_by: Callable[[Settings], bool]
    of_take: Callable[[Settings], Exporter]
    of_takes: OverviewExporter | None = None


def _notes(settings: Settings) -> MidiNotes:
    return MidiNotes(settings.markers.session_tempo_bpm, settings.markers.counts_from)


EXTRAS: Mapping[str, Extra] = {
    "notes": Extra(lambda settings: settings.markers.notes_file, _notes),
    "page": Extra(lambda settings: settings.page.write, lambda _: TakePage(), TakesPage()),
    "picture": Extra(lambda settings: settings.picture.write, lambda _: TakePicture(), TakesPicture()),
}
"""By the name that the command line has for them."""


def _nowhere(_: str) -> bool:
    return False


def _is_kept_up(extra: Extra, exporter: Exporter, there: There) -> bool:
    return there(exporter.suffix) or (extra.of_takes is not None and there(extra.of_takes.file_name))


def exporters_for(
    settings: Settings, *, also: Collection[str] = (), there: There = _nowhere
) -> tuple[Exporter, ...]:
    """Return the exporters that the settings ask for, or ``also`` by name, the analysis last.

    Those whose file is ``there``, by its suffix, come with them, so that it never goes stale, and those
    whose file about all takes is, so that each take in it has its own. A take counts as written once its
    analysis is there, so that one goes to disk last.
    """
    markers, cues = settings.markers, settings.cues
    extras = [
        exporter
        for name, extra in EXTRAS.items()
        if (exporter := extra.of_take(settings))
        and (extra.asked_by(settings) or name in also or _is_kept_up(extra, exporter, there))
    ]
    return (
        MidiMarkers(
            markers.midi_format,
            markers.event,
            markers.spans,
            markers.session_tempo_bpm,
            markers.counts_from,
            markers.labels,
            markers.devices,
            markers.moments,
        ),
        CsvCues(
            cues.columns,
            cues.separator,
            cues.time_base,
            cues.frame_rate,
            cues.sample_rate_hz,
            cues.counts_from,
        ),
        *extras,
        AnalysisJson(),
    )


def overview_exporters_for(
    settings: Settings, *, also: Collection[str] = (), there: There = _nowhere
) -> tuple[OverviewExporter, ...]:
    """Return the exporters of files about all takes of a folder, chosen as those of a take are."""
    return tuple(
        extra.of_takes
        for name, extra in EXTRAS.items()
        if extra.of_takes and (extra.asked_by(settings) or name in also or there(extra.of_takes.file_name))
    )


def session_exporters_for(settings: Settings) -> tuple[SessionMarkers, SessionCues]:
    """Return the exporters of a session's marker file and cue list, shaped as those of a take."""
    markers, cues = settings.markers, settings.cues
    return (
        SessionMarkers(
            markers.midi_format, markers.event, markers.spans, markers.session_tempo_bpm, markers.labels
        ),
        SessionCues(cues.columns, cues.separator, cues.time_base, cues.frame_rate, cues.sample_rate_hz),
    )
