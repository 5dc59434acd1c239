"""Names in a session's files: printable ASCII, short, unique, and sorting as the session goes."""

import unicodedata
from collections.abc import Iterator, Sequence, Sized

from batch.session import Layout
from batch.settings import MARKED, LabelName
from exporters.base import LONGEST, named

_PLAIN = str.maketrans(
    {"ß": "ss", "æ": "ae", "Æ": "Ae", "ø": "o", "Ø": "O", "œ": "oe", "Œ": "Oe", "ł": "l", "Ł": "L", "đ": "d",
     "Đ": "D", "þ": "th", "Þ": "Th", "ð": "d", "Ð": "D", "ı": "i", "–": "-", "—": "-", "’": "'"}
)  # fmt: skip
"""Letters that Unicode does not take apart into an ASCII one and its accent."""


def ascii_name(name: str) -> str:
    """Return a name in printable ASCII, ``take`` where nothing of it is left."""
    apart = unicodedata.normalize("NFKD", name.translate(_PLAIN))
    return " ".join("".join(c if " " <= c <= "~" else " " * c.isspace() for c in apart).split()) or "take"


def section_names(layout: Layout) -> Iterator[str]:
    """Yield a name for each take: its number in the session and its own, ``03 bluesInF take2``."""
    for index, one in enumerate(layout.takes):
        yield f"{_number(index, layout.takes)} {ascii_name(one.take.name)}"[:LONGEST].rstrip()


def phrase_names(layout: Layout, index: int, labels: Sequence[LabelName] = MARKED) -> Iterator[str]:
    """Yield a name for each phrase of a take: both numbers and its labels, ``03.07 long dense``."""
    outline = layout.takes[index].take.outline
    phrases = outline.phrases if outline else ()
    take = _number(index, layout.takes)
    for place, phrase in enumerate(phrases):
        yield named(f"{take}.{_number(place, phrases)}", phrase.labels, labels)


def _number(index: int, of: Sized) -> str:
    return f"{index + 1:0{max(2, len(str(len(of))))}}"
