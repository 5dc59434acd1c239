"""A session's takes and their phrases as one MIDI marker file."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from batch.session import Layout
from batch.settings import MARKED, LabelName, MarkerTrack, StatedMap
from exporters.midi_markers import MarkerEvent, SessionClock, mark, marker_file, span
from exporters.session_names import phrase_names, section_names
from exporters.smf import Timed

_PERCUSSION_CHANNEL = 9
_CHANNELS = [channel for channel in range(16) if channel != _PERCUSSION_CHANNEL]
"""Takes that sound at once get a channel each, so that a span never ends another take's."""


@dataclass(frozen=True, slots=True)
class SessionMarkers:
    """A marker where each take starts and where each phrase does, and one note a phrase."""

    midi_format: Literal[0, 1] = 0
    event: MarkerEvent = "marker"
    spans: bool = True
    session_tempo_bpm: float = 120.0
    labels: Sequence[LabelName] = MARKED
    track: MarkerTrack = "first"
    tempo_map: StatedMap = "known"
    suffix: str = ".session-markers.mid"

    def render(self, layout: Layout) -> bytes:
        """Return a Standard MIDI File 1.0 that states the session's tempo map, else its tempo."""
        clock = self._clock(layout)
        spans = _spans(layout, clock) if self.spans else ()
        return marker_file(
            clock, self._marks(layout, clock), spans, midi_format=self.midi_format, track=self.track
        )

    def _clock(self, layout: Layout) -> SessionClock:
        if layout.session_map is None or self.tempo_map == "none":
            return SessionClock.steady(self.session_tempo_bpm, 0.0)
        return SessionClock.cut(layout.session_map, layout.map_starts_at_s)

    def _marks(self, layout: Layout, clock: SessionClock) -> Iterable[Timed]:
        for index, (section, one) in enumerate(zip(section_names(layout), layout.takes, strict=True)):
            yield mark(clock.tick(one.start_s), section, self.event)
            phrases = one.take.outline.phrases if one.take.outline else ()
            for name, phrase in zip(phrase_names(layout, index, self.labels), phrases, strict=True):
                yield mark(clock.tick(one.start_s + phrase.start_s), name, self.event)


def _spans(layout: Layout, clock: SessionClock) -> Iterable[Timed]:
    for one, channel in zip(layout.takes, channels_of(layout), strict=True):
        for phrase in one.take.outline.phrases if one.take.outline else ():
            start_s, end_s = one.start_s + phrase.start_s, one.start_s + phrase.end_s
            yield from span(clock, start_s, end_s, phrase.labels, channel)


def channels_of(layout: Layout) -> list[int]:
    """Return a channel for each take: the first on which nothing sounds any more when it starts."""
    free_s = [0.0] * len(_CHANNELS)
    chosen: list[int] = []
    for one in layout.takes:
        lane = next((i for i, free in enumerate(free_s) if free <= one.start_s), len(chosen) % len(free_s))
        free_s[lane] = max(free_s[lane], one.end_s)
        chosen.append(_CHANNELS[lane])
    return chosen
