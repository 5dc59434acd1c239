"""What every exporter is, and the words they share."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Protocol

from batch.model import Analysis, Articulation, Groove, IntervalSize, LabelledPhrase, Labels, Register
from batch.overview import Overview
from batch.session import Layout
from batch.settings import MARKED, LabelName, Settings


class Exporter(Protocol):
    """Turns a finished analysis into the bytes of one file; knows nothing of audio or folders."""

    @property
    def suffix(self) -> str:
        """What follows the take's name in the file's, such as ``.cues.csv``."""

    def render(self, analysis: Analysis) -> bytes:
        """Return the file's content; the same bytes for the same analysis."""


class Copier(Protocol):
    """Makes a copy of a take's recording that carries its phrases; the recording is only read."""

    @property
    def suffixes(self) -> tuple[str, ...]:
        """All that may follow the take's name in a copy's, such as ``.markers.wav``."""

    def suffix_for(self, recording: str) -> str:
        """Return what follows the take's name for a recording of this file name.

        Raises
        ------
        UnfitError
            If recordings of its kind cannot carry phrases this way.
        """

    def copy(self, analysis: Analysis, recording: Path, copy: BinaryIO) -> None:
        """Write the copy to a file that is empty, open to be written, read and sought.

        It bears ``names.MADE_BY``, or is never written over.

        Raises
        ------
        TakeError
            If the recording is not what its name says, or holds what such a copy cannot.
        """


class OverviewExporter(Protocol):
    """Turns the takes of an output folder into the bytes of one file there."""

    @property
    def file_name(self) -> str:
        """What the file is called."""

    def render(self, overview: Overview) -> bytes:
        """Return the file's content; the same bytes for the same overview."""


class SessionExporter(Protocol):
    """Turns the takes of a folder, laid out as one session, into the bytes of one file."""

    @property
    def suffix(self) -> str:
        """What follows the folder's name in the file's, such as ``.session-cues.csv``."""

    def render(self, layout: Layout) -> bytes:
        """Return the file's content; the same bytes for the same layout."""


@dataclass(frozen=True, slots=True)
class Ready:
    """An exporter on request, made by the settings: of a take, of a session, of all takes."""

    of_take: Exporter | None
    copier: Copier | None
    of_session: SessionExporter | None
    of_takes: tuple[OverviewExporter, ...]

    @property
    def take_suffixes(self) -> tuple[str, ...]:
        """What may follow a take's name in those of its files."""
        of_take = (self.of_take.suffix,) if self.of_take else ()
        return (*of_take, *(self.copier.suffixes if self.copier else ()))

    @property
    def session_suffixes(self) -> tuple[str, ...]:
        """What follows a folder's name in that of its session's file."""
        return (self.of_session.suffix,) if self.of_session else ()

    @property
    def file_names(self) -> tuple[str, ...]:
        """What the files about all takes are called."""
        return tuple(one.file_name for one in self.of_takes)


@dataclass(frozen=True, slots=True)
class Extra:
    """Files on request: one for each take, or a copy of its recording; some for a folder's takes.

    ``asked_by`` says whether settings ask for it, besides ``[export] write``.
    """

    of_take: Callable[[Settings], Exporter] | None = None
    copy_of_take: Callable[[Settings], Copier] | None = None
    of_session: Callable[[Settings], SessionExporter] | None = None
    of_takes: tuple[OverviewExporter, ...] = ()
    asked_by: Callable[[Settings], bool] = lambda _: False

    def ready(self, settings: Settings) -> Ready:
        """Make it by the settings.

        Raises
        ------
        BatchError
            If what it needs is not installed, or its own settings are wrong.
        """
        return Ready(
            self.of_take(settings) if self.of_take else None,
            self.copy_of_take(settings) if self.copy_of_take else None,
            self.of_session(settings) if self.of_session else None,
            self.of_takes,
        )


@dataclass(frozen=True, slots=True)
class Chosen:
    """The files a take has: always, the analysis last; and on request."""

    always: tuple[Exporter, ...]
    extras: tuple[Exporter, ...] = ()
    copies: tuple[Copier, ...] = ()

    @property
    def suffixes(self) -> tuple[str, ...]:
        """What the names of all these may end in."""
        copies = (suffix for copier in self.copies for suffix in copier.suffixes)
        return (*(one.suffix for one in (*self.always, *self.extras)), *copies)


There = Callable[[str], bool]
"""Whether there is a file of ours with this suffix, or of this name."""


class FilesOf(Protocol):
    """Says which files a take has: by the settings, and of those on request the ones that are there."""

    def __call__(self, settings: Settings, *, there: There = ...) -> Chosen:
        """Return what writes them."""


class OverviewExportersFor(Protocol):
    """The same for the files about all takes of an output folder."""

    def __call__(self, settings: Settings, *, there: There = ...) -> Sequence[OverviewExporter]:
        """Return the exporters."""


class SessionExportersFor(Protocol):
    """The same for the files of a folder's session."""

    def __call__(self, settings: Settings, *, there: There = ...) -> Sequence[SessionExporter]:
        """Return the exporters."""


LONGEST = 40
"""Characters of a marker that programs were seen to take."""


UNSAID = (Groove.UNMEASURED, Articulation.UNMEASURED, Register.MIDDLE, IntervalSize.UNMEASURED)
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
        device if device and name == "groove" else label.value for name, label in told if label not in UNSAID
    ]
    if len(" ".join([number, *words])) > LONGEST:
        words = [_SHORTER.get(word, word) for word in words]
    while len(words) > 1 and len(" ".join([number, *words])) > LONGEST:
        words.pop()
    return " ".join([number, *words])[:LONGEST].rstrip()


def number_width(phrases: Sequence[LabelledPhrase]) -> int:
    """Return in how many digits phrases are numbered, so that names sort as they do."""
    return max(2, len(str(len(phrases))))
