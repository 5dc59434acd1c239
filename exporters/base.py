"""What every exporter is, and the words they share."""

from collections.abc import Callable, Sequence
from typing import Protocol

from batch.model import Analysis, LabelledPhrase
from batch.overview import Overview
from batch.settings import Settings


class Exporter(Protocol):
    """Turns a finished analysis into the bytes of one file; knows nothing of audio or folders."""

    @property
    def suffix(self) -> str:
        """What follows the take's name in the file's, such as ``.cues.csv``."""

    def render(self, analysis: Analysis) -> bytes:
        """Return the file's content; the same bytes for the same analysis."""


class OverviewExporter(Protocol):
    """Turns the takes of an output folder into the bytes of one file there."""

    @property
    def file_name(self) -> str:
        """What the file is called."""

    def render(self, overview: Overview) -> bytes:
        """Return the file's content; the same bytes for the same overview."""


There = Callable[[str], bool]
"""Whether there is a file of ours with this suffix, or of this name."""


class ExportersFor(Protocol):
    """Says which files a take has: by the settings, and of those on request the ones that are there."""

    def __call__(self, settings: Settings, *, there: There = ...) -> Sequence[Exporter]:
        """Return the exporters, the analysis last."""


class OverviewExportersFor(Protocol):
    """The same for the files about all takes of an output folder."""

    def __call__(self, settings: Settings, *, there: There = ...) -> Sequence[OverviewExporter]:
        """Return the exporters."""


LONGEST = 40
"""Characters of a marker that programs were seen to take."""


def phrase_names(phrases: tuple[LabelledPhrase, ...], *, with_devices: bool = False) -> tuple[str, ...]:
    """Return a name for each phrase: its number and its labels, ``07 long dense against-groove``.

    With devices it says what puts a phrase against the groove: ``07 long dense off-beats``. Names
    are unique, printable ASCII, and sort as the phrases do.
    """
    width = number_width(phrases)
    return tuple(
        f"{number:0{width}} {_words(phrase, with_devices=with_devices)}"[:LONGEST].rstrip()
        for number, phrase in enumerate(phrases, start=1)
    )


def number_width(phrases: Sequence[LabelledPhrase]) -> int:
    """Return in how many digits phrases are numbered, so that names sort as they do."""
    return max(2, len(str(len(phrases))))


def _words(phrase: LabelledPhrase, *, with_devices: bool) -> str:
    devices = phrase.evidence.devices
    if not (with_devices and devices):
        return str(phrase.labels)
    return f"{phrase.labels.length.value} {phrase.labels.density.value} {devices[0].name}"
