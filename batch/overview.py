"""An output folder's takes beside one another, as its pages and pictures show them."""

from dataclasses import dataclass

from batch.entry import Entry
from batch.outline import Outline
from batch.rank import Place


@dataclass(frozen=True, slots=True)
class Listed:
    """A take that was heard: what the catalogue says of it, its place by variety, its phrases.

    ``files`` are those of its files that are there, by name; ``recording`` is the way to the
    recording from the folder they lie in, with slashes. Without an outline its analysis is gone.
    """

    entry: Entry
    place: Place
    outline: Outline | None
    files: tuple[str, ...]
    recording: str


@dataclass(frozen=True, slots=True)
class Overview:
    """The takes of a folder, most varied first, those without a score last; ``more`` are not listed.

    ``unheard`` are those that failed, with their reason.
    """

    title: str
    takes: tuple[Listed, ...]
    unheard: tuple[Entry, ...]
    more: int = 0
