"""Title, player, date and tempo from the tags inside a recording."""

import errno
import math
from collections.abc import Callable
from dataclasses import dataclass
from io import BufferedReader, RawIOBase
from pathlib import Path
from typing import Any, TypeVar

import mutagen

from batch.inert import title_of
from batch.regular import open_regular
from batch.tag_bounds import BROKEN

TEMPO_LIMITS_BPM = (20.0, 400.0)
"""A tempo tag outside is nonsense (the limits of the settings)."""

_TITLE_KEYS = ("TIT2", "title", "\xa9nam", "NAME", "Title")
_DATE_KEYS = ("TDRC", "TDOR", "date", "\xa9day", "Year")
_PLAYER_KEYS = ("TPE1", "artist", "performer", "\xa9ART", "Artist", "Author")
_TEMPO_KEYS = ("TBPM", "bpm", "tempo", "tmpo")
"""ID3v2.4 frames (id3.org), Vorbis comment fields (xiph.org), MP4 atoms, in that order."""

T = TypeVar("T")

_MOST_BYTES = 32 << 20
"""Read of a file for its tags; covers and booklets are smaller (our choice)."""


@dataclass(frozen=True, slots=True)
class Tags:
    """What a recording says of itself; None where it says nothing sensible."""

    title: str | None = None
    recorded_at: str | None = None
    tempo_bpm: float | None = None
    player: str | None = None


def read_tags(path: Path) -> Tags:
    """Return the tags of ``path``. Tags are a courtesy: broken ones are none."""
    try:
        with _Sparing(open_regular(path).detach()) as stream:
            found = mutagen.File(stream)
    except BROKEN:
        return Tags()
    if found is None or found.tags is None:
        return Tags()
    return Tags(
        title=_first(found.tags, _TITLE_KEYS, _text),
        recorded_at=_first(found.tags, _DATE_KEYS, _text),
        tempo_bpm=_first(found.tags, _TEMPO_KEYS, _tempo),
        player=_first(found.tags, _PLAYER_KEYS, _text),
    )


class _Sparing(BufferedReader):
    """A file of which only so much is read: mutagen keeps every picture, some of them three times over."""

    def __init__(self, raw: RawIOBase) -> None:
        super().__init__(raw)
        self._left = _MOST_BYTES

    def read(self, size: int | None = -1, /) -> bytes:
        """Read as ever; OSError once too much was read."""
        content = super().read(size if size is not None and 0 <= size <= self._left else self._left + 1)
        self._left -= len(content)
        if self._left < 0:
            raise OSError(errno.EFBIG, "more tags than a recording has")
        return content


def _first(tags: Any, keys: tuple[str, ...], read: Callable[[Any], T | None]) -> T | None:
    for key in keys:
        try:
            value = tags[key]
        except (KeyError, ValueError):
            continue
        single = value[0] if isinstance(value, list) and value else value
        if (result := read(single)) is not None:
            return result
    return None


def _text(value: Any) -> str | None:
    text = str(value.text[0] if getattr(value, "text", None) else value)
    return title_of(text)


def _tempo(value: Any) -> float | None:
    try:
        tempo = float(_text(value) or "nan")
    except ValueError:
        return None
    low, high = TEMPO_LIMITS_BPM
    return tempo if math.isfinite(tempo) and low <= tempo <= high else None
