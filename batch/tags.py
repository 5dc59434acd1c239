"""Title, date and tempo from the tags inside a recording."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import mutagen

from batch.inert import title_of

TEMPO_LIMITS_BPM = (20.0, 400.0)
"""A tempo tag outside is nonsense (the limits of the settings)."""

_TITLE_KEYS = ("TIT2", "title", "\xa9nam", "NAME", "Title")
_DATE_KEYS = ("TDRC", "TDOR", "date", "\xa9day", "Year")
_TEMPO_KEYS = ("TBPM", "bpm", "tempo", "tmpo")
"""ID3v2.4 frames (id3.org), Vorbis comment fields (xiph.org), MP4 atoms, in that order."""

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Tags:
    """What a recording says of itself; None where it says nothing sensible."""

    title: str | None = None
    recorded_at: str | None = None
    tempo_bpm: float | None = None


def read_tags(path: Path) -> Tags:
    """Return the tags of ``path``. Tags are a courtesy: broken ones are none."""
    try:
        found = mutagen.File(path)
    except (mutagen.MutagenError, OSError, ValueError, EOFError, LookupError):
        return Tags()
    if found is None or found.tags is None:
        return Tags()
    return Tags(
        title=_first(found.tags, _TITLE_KEYS, _text),
        recorded_at=_first(found.tags, _DATE_KEYS, _text),
        tempo_bpm=_first(found.tags, _TEMPO_KEYS, _tempo),
    )


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
