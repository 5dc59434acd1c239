"""One module a format: a finished analysis in, bytes out."""

from collections.abc import Callable, Collection, Iterator, Mapping

from batch.errors import BatchError
from batch.exports import OWN, known
from batch.settings import Settings
from exporters.analysis_json import AnalysisJson
from exporters.base import Chosen, Copier, Extra, OverviewExporter, Ready, SessionExporter, There
from exporters.brought import brought
from exporters.chapters.chapter import Division
from exporters.copies.chapters import Chapters
from exporters.copies.cue_points import CuePoints
from exporters.csv_cues import CsvCues
from exporters.midi_markers import MidiMarkers, MidiNotes
from exporters.page import TakePage, TakesPage
from exporters.pictures import TakePicture, TakesPicture
from exporters.playlists import PlaylistM3u8, PlaylistXspf
from exporters.session_cues import SessionCues
from exporters.session_markers import SessionMarkers
from exporters.session_timeline import SessionTimeline
from exporters.timeline import Timeline
from exporters.webvtt import SessionVtt, WebVtt

__all__ = ["EXTRAS", "copiers_for", "faults", "files_of", "overview_exporters_for", "session_exporters_for"]


def _notes(settings: Settings) -> MidiNotes:
    markers = settings.markers
    return MidiNotes(markers.session_tempo_bpm, markers.counts_from, markers.tempo_map)


def _cue_points(settings: Settings) -> CuePoints:
    markers = settings.markers
    return CuePoints(markers.labels, markers.devices, markers.moments)


def _division(settings: Settings) -> Division:
    chapters, markers = settings.chapters, settings.markers
    return Division(chapters.by, chapters.most, markers.labels, markers.devices)


def _chapters(settings: Settings) -> Chapters:
    return Chapters(_division(settings), settings.chapters.encode)


EXTRAS: Mapping[str, Extra] = {
    "notes": Extra(_notes, asked_by=lambda settings: settings.markers.notes_file),
    "page": Extra(
        lambda _: TakePage(), of_takes=(TakesPage(),), asked_by=lambda settings: settings.page.write
    ),
    "picture": Extra(
        lambda _: TakePicture(), of_takes=(TakesPicture(),), asked_by=lambda settings: settings.picture.write
    ),
    "cue-points": Extra(copy_of_take=_cue_points),
    "chapters": Extra(copy_of_take=_chapters),
    "playlist": Extra(of_takes=(PlaylistXspf(), PlaylistM3u8())),
    "timeline": Extra(Timeline.of, of_session=SessionTimeline.of),
    "webvtt": Extra(
        lambda settings: WebVtt(_division(settings)),
        of_session=lambda settings: SessionVtt(_division(settings)),
    ),
}
"""takemill's own, by the names that the command line and ``[export] write`` have for them."""


def _nowhere(_: str) -> bool:
    return False


def files_of(settings: Settings, *, also: Collection[str] = (), there: There = _nowhere) -> Chosen:
    """Return the files that the settings ask for a take to have, or ``also`` by name.

    Those whose file is ``there``, by its suffix, come with them, so that it never goes stale, and those
    whose file about all takes is, so that each take in it has its own. What cannot be made is left out,
    and told by :func:`faults`.
    """
    ready = list(_ready(settings, also, lambda one: any(map(there, one.take_suffixes + one.file_names))))
    extras = tuple(one.of_take for one in ready if one.of_take)
    copies = tuple(one.copier for one in ready if one.copier)
    return Chosen(_always(settings), extras, copies)


def overview_exporters_for(
    settings: Settings, *, also: Collection[str] = (), there: There = _nowhere
) -> tuple[OverviewExporter, ...]:
    """Return the exporters of files about all takes of a folder, chosen as those of a take are."""
    ready = _ready(settings, also, lambda one: any(map(there, one.file_names)))
    return tuple(of_takes for one in ready for of_takes in one.of_takes)


def session_exporters_for(
    settings: Settings, *, also: Collection[str] = (), there: There = _nowhere
) -> tuple[SessionExporter, ...]:
    """Return the exporters of a folder's session, chosen so too; its markers and cues if set so."""
    ready = _ready(settings, also, lambda one: any(map(there, one.session_suffixes)))
    extras = (one.of_session for one in ready if one.of_session)
    return (*(_of_session(settings) if settings.session.write else ()), *extras)


def faults(settings: Settings, *, also: Collection[str] = ()) -> tuple[str, ...]:
    """Return a line for each of those asked for that cannot be made."""
    problems = []
    for name in known():
        if _is_asked(name, settings, also):
            try:
                _made(name, settings)
            except BatchError as error:
                problems.append(str(error))
    return tuple(problems)


def copiers_for(settings: Settings, *, also: Collection[str] = ()) -> dict[str, Copier]:
    """Return what makes the copies that the settings ask for, or ``also`` by name."""
    asked = (name for name in known() if _is_asked(name, settings, also))
    copiers = ((name, _copier(name, settings)) for name in asked)
    return {name: copier for name, copier in copiers if copier}


def _copier(name: str, settings: Settings) -> Copier | None:
    try:
        return _made(name, settings).copier
    except BatchError:
        return None


def _ready(settings: Settings, also: Collection[str], is_kept_up: Callable[[Ready], bool]) -> Iterator[Ready]:
    for name in known():
        try:
            one = _made(name, settings)
        except BatchError:
            continue
        if _is_asked(name, settings, also) or is_kept_up(one):
            yield one


def _made(name: str, settings: Settings) -> Ready:
    if name in OWN:
        return EXTRAS[name].ready(settings)
    return brought(name, settings)


def _is_asked(name: str, settings: Settings, also: Collection[str]) -> bool:
    by_section = name in OWN and EXTRAS[name].asked_by(settings)
    return by_section or name in settings.export.write or name in also


def _always(settings: Settings) -> tuple[MidiMarkers, CsvCues, AnalysisJson]:
    """Return what every take has. It counts as written once its analysis is there, so that one is last."""
    markers, cues = settings.markers, settings.cues
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
            markers.track,
            markers.tempo_map,
            markers.notes,
        ),
        CsvCues(
            cues.columns,
            cues.separator,
            cues.time_base,
            cues.frame_rate,
            cues.sample_rate_hz,
            cues.counts_from,
        ),
        AnalysisJson(),
    )


def _of_session(settings: Settings) -> tuple[SessionMarkers, SessionCues]:
    markers, cues = settings.markers, settings.cues
    return (
        SessionMarkers(
            markers.midi_format,
            markers.event,
            markers.spans,
            markers.session_tempo_bpm,
            markers.labels,
            markers.track,
            markers.tempo_map,
        ),
        SessionCues(cues.columns, cues.separator, cues.time_base, cues.frame_rate, cues.sample_rate_hz),
    )
