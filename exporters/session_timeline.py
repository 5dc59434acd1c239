"""A folder's takes as one timeline of OpenTimelineIO: each a clip where it lies in the session."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, field
from fractions import Fraction
from typing import Any

from batch.inert import inert
from batch.outline import PhraseOutline
from batch.session import Layout, Placed
from batch.settings import MARKED, LabelName, Settings
from exporters.otio import (
    COLOURS,
    UNHEARD_COLOUR,
    Mark,
    Scale,
    clip,
    gap,
    label_words,
    see_that_it_is_installed,
    timeline,
    track,
)
from exporters.session_names import phrase_names, section_names


@dataclass(frozen=True, slots=True)
class SessionTimeline:
    """Takes with gaps between them, those that sound at once on tracks of their own.

    A take that could not be heard has no length, so it is no clip: a marker of the whole stands at its place.
    """

    labels: Sequence[LabelName] = MARKED
    suffix: str = ".session-timeline.otio"

    @classmethod
    def of(cls, settings: Settings) -> "SessionTimeline":
        """Return the exporter by the settings of markers; BatchError if the library lacks."""
        see_that_it_is_installed()
        return cls(settings.markers.labels)

    def render(self, layout: Layout) -> bytes:
        """Return a Timeline that starts at the session's zero, each take's times in its own samples."""
        lanes: list[_Lane] = []
        for index, (name, one) in enumerate(zip(_names(layout), layout.takes, strict=True)):
            if one.take.outline:
                scale = Scale.of(one.take.outline.sample_rate_hz)
                marks = self._phrases(layout, index, one.take.outline.phrases)
                made = clip(name, one.take.recording, one.take.outline.duration_s, scale, marks)
                _free(lanes, one, scale).put(made, one, scale)
        scale = Scale.of(_rate_hz(layout))
        starts_at = scale.time(round(layout.zero_reads_s * scale.rate_hz)) if layout.zero_reads_s else None
        return timeline(
            "Session",
            [track(f"Takes {number}", lane.children) for number, lane in enumerate(lanes, start=1)],
            {"remarks": [inert(remark) for remark in layout.remarks]},
            [mark.on(scale) for mark in _unheard(layout)],
            starts_at,
        )

    def _phrases(self, layout: Layout, index: int, phrases: Sequence[PhraseOutline]) -> Iterator[Mark]:
        for name, phrase in zip(phrase_names(layout, index, self.labels), phrases, strict=True):
            told = {"labels": asdict(phrase.labels)}  # the evidence stands in the take's own timeline
            colour, comment = COLOURS[phrase.labels.groove], label_words(phrase.labels)
            yield Mark(phrase.start_s, phrase.end_s, name, colour, comment, told)


@dataclass(slots=True)
class _Lane:
    """A track that fills up: ``ends_s`` is exact, so that no take's place adds to the next one's error."""

    children: list[Any] = field(default_factory=list)
    ends_s: Fraction = Fraction(0)

    def silence_before(self, one: Placed, scale: Scale) -> int:
        """Return how many samples of the take's own clock pass until it starts; below 0 if it cannot."""
        return round((Fraction(one.start_s) - self.ends_s) * scale.rate_hz)

    def put(self, made: Any, one: Placed, scale: Scale) -> None:
        """Put a take where it starts."""
        if silence := self.silence_before(one, scale):
            self.children.append(gap(silence, scale))
        self.children.append(made)
        self.ends_s += Fraction(silence + int(made.duration().value), scale.rate_hz)


def _free(lanes: list[_Lane], one: Placed, scale: Scale) -> _Lane:
    """Return the first track on which nothing sounds any more when a take starts, else a new one."""
    free = next((lane for lane in lanes if lane.silence_before(one, scale) >= 0), None)
    if free is None:
        lanes.append(free := _Lane())
    return free


def _names(layout: Layout) -> Iterator[str]:
    """Yield a name for each take, numbered as in the marker file: ``03 bluesInF take2``."""
    for section, one in zip(section_names(layout), layout.takes, strict=True):
        yield f"{section.partition(' ')[0]} {inert(one.take.name)}"


def _unheard(layout: Layout) -> Iterator[Mark]:
    for name, one in zip(_names(layout), layout.takes, strict=True):
        if one.take.outline is None:
            yield Mark(one.start_s, one.start_s, name, UNHEARD_COLOUR, "could not be heard")


def _rate_hz(layout: Layout) -> int | None:
    """Return the highest sample rate of the takes, in which the times of the whole are written."""
    rates = (one.take.outline.sample_rate_hz for one in layout.takes if one.take.outline)
    return max((rate for rate in rates if rate), default=None)
