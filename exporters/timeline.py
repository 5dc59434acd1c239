"""A take as a timeline of OpenTimelineIO: one clip with its phrases as markers."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass

from batch.inert import inert
from batch.model import Analysis
from batch.relation_words import relation_words
from batch.settings import MARKED, LabelName, Settings
from batch.tension_words import moment_marks
from exporters.base import number_width, phrase_names
from exporters.otio import (
    COLOURS,
    MOMENT_COLOUR,
    Mark,
    Scale,
    clip,
    label_words,
    see_that_it_is_installed,
    timeline,
    track,
)


@dataclass(frozen=True, slots=True)
class Timeline:
    """The recording from its start to its end; a marker spans each phrase.

    Markers are called as in the MIDI file. With ``moments`` there are others where tension builds, peaks and
    is released.
    """

    labels: Sequence[LabelName] = MARKED
    devices: bool = False
    moments: bool = False
    suffix: str = ".timeline.otio"

    @classmethod
    def of(cls, settings: Settings) -> "Timeline":
        """Return the exporter by the settings of markers; BatchError if the library lacks."""
        see_that_it_is_installed()
        markers = settings.markers
        return cls(markers.labels, markers.devices, markers.moments)

    def render(self, analysis: Analysis) -> bytes:
        """Return a Timeline, its times in samples of the recording."""
        take, variety = analysis.take, analysis.variety
        name, scale = take.title or take.file, Scale.of(take.sample_rate_hz)
        marks = [*self._phrases(analysis), *self._moments(analysis)]
        takes = track("Take", [clip(name, take.recording, take.duration_s, scale, marks)])
        told = {
            "file": inert(take.file),
            "variety": {"score": variety.score, "low": variety.low, "high": variety.high},
        }
        return timeline(name, [takes], told)

    def _phrases(self, analysis: Analysis) -> Iterator[Mark]:
        names = phrase_names(analysis.phrases, labels=self.labels, with_devices=self.devices)
        for name, phrase in zip(names, analysis.phrases, strict=True):
            yield Mark(
                phrase.start_s,
                phrase.end_s,
                name,
                COLOURS[phrase.labels.groove],
                f"{label_words(phrase.labels)}; {relation_words(phrase.relation)}",
                {
                    "labels": asdict(phrase.labels),
                    "evidence": asdict(phrase.evidence),
                    "relation": asdict(phrase.relation),
                },
            )

    def _moments(self, analysis: Analysis) -> Iterator[Mark]:
        if self.moments and analysis.tension:
            for time_s, text in moment_marks(analysis.tension, number_width(analysis.phrases)):
                yield Mark(time_s, time_s, text, MOMENT_COLOUR)
