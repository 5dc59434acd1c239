"""What every exporter is, and the words they share."""

from typing import Protocol

from batch.model import Analysis, LabelledPhrase


class Exporter(Protocol):
    """Turns a finished analysis into the bytes of one file; knows nothing of audio or folders."""

    @property
    def suffix(self) -> str:
        """What follows the take's name in the file's, such as ``.cues.csv``."""

    def render(self, analysis: Analysis) -> bytes:
        """Return the file's content; the same bytes for the same analysis."""


def phrase_names(phrases: tuple[LabelledPhrase, ...]) -> tuple[str, ...]:
    """Return a name for each phrase: its number and its labels, ``07 long dense against-groove``.

    Names are unique, printable ASCII, and sort as the phrases do.
    """
    width = max(2, len(str(len(phrases))))
    return tuple(f"{number:0{width}} {phrase.labels}" for number, phrase in enumerate(phrases, start=1))
