"""What every exporter is, and the words they share."""

from collections.abc import Callable, Sequence
from typing import Protocol

from batch.model import Analysis, Articulation, Groove, IntervalSize, LabelledPhrase, Labels, Register
from batch.overview import Overview
from batch.settings import MARKED, LabelName, Settings


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


_UNSAID = (Groove.UNMEASURED, Articulation.UNMEASURED, Register.MIDDLE, IntervalSize.UNMEASURED)
"""Labels that are not worth a word in a marker."""
_SHORTER = {
    Groove.AGAINST_GROOVE.value: "against",
    Groove.IN_GROOVE.value: "in",
    Articulation.STACCATO.value: "stacc",
}
"""How players shorten words that do not all fit."""


def phrase_names(
    phrases: tuple[LabelledPhrase, ...], *, labels: Sequence[LabelName] = MARKED, with_devices: bool = False
) -> tuple[str, ...]:
    """Return a name for each phrase: its number and its labels, ``07 long dense against-groove``.

    With devices it says what puts a phrase against the groove: ``07 long dense off-beats``. Names
    are unique, printable ASCII, and sort as the phrases do.
    """
    width = number_width(phrases)
    names = []
    for number, phrase in enumerate(phrases, start=1):
        devices = phrase.evidence.devices if with_devices else ()
        names.append(named(f"{number:0{width}}", phrase.labels, labels, devices[0].name if devices else None))
    return tuple(names)


def named(number: str, labels: Labels, asked: Sequence[LabelName] = MARKED, device: str | None = None) -> str:
    """Return a number and the labels asked for, in LONGEST characters.

    Words that do not fit are shortened as players do; if that is not enough, the last ones are left out.
    ``device`` is said in place of the groove.
    """
    told = [(name, getattr(labels, name)) for name in asked]
    words = [
        device if device and name == "groove" else label.value for name, label in told if label not in _UNSAID
    ]
    if len(" ".join([number, *words])) > LONGEST:
        words = [_SHORTER.get(word, word) for word in words]
    while len(words) > 1 and len(" ".join([number, *words])) > LONGEST:
        words.pop()
    return " ".join([number, *words])[:LONGEST].rstrip()


def number_width(phrases: Sequence[LabelledPhrase]) -> int:
    """Return in how many digits phrases are numbered, so that names sort as they do."""
    return max(2, len(str(len(phrases))))
