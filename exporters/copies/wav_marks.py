"""What of an analysis goes into a WAV file as cue points: its phrases, and the moments of its tension."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from batch.model import Analysis
from batch.settings import LabelName
from batch.tension_words import moment_marks
from exporters.base import number_width, phrase_names


@dataclass(frozen=True, slots=True)
class Mark:
    """A place in the take and what to call it; ``end_s`` where it is a stretch."""

    start_s: float
    name: str
    end_s: float | None = None

    def frame(self, rate_hz: int) -> int:
        """Return the nearest sample frame."""
        return round(self.start_s * rate_hz)

    def length(self, rate_hz: int) -> int:
        """Return how many frames lie between both ends, each at its nearest; 0 if it is no stretch."""
        return 0 if self.end_s is None else round(self.end_s * rate_hz) - self.frame(rate_hz)


def marks_of(
    analysis: Analysis, *, labels: Sequence[LabelName], devices: bool, moments: bool
) -> tuple[Mark, ...]:
    """Return a mark for each phrase and, if asked for, each moment, as they come in the take."""
    names = phrase_names(analysis.phrases, labels=labels, with_devices=devices)
    phrases = [
        Mark(phrase.start_s, name, phrase.end_s) for name, phrase in zip(names, analysis.phrases, strict=True)
    ]
    others = _moments(analysis) if moments else ()
    return tuple(sorted([*phrases, *others], key=lambda mark: mark.start_s))


def _moments(analysis: Analysis) -> Iterator[Mark]:
    if analysis.tension:
        for time_s, text in moment_marks(analysis.tension, number_width(analysis.phrases)):
            yield Mark(time_s, text)
