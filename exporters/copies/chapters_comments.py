"""Chapters as Vorbis comments in FLAC and Ogg (Xiph wiki, "Chapter Extension", 2015).

Numbers go from 000 to 999 there, and its examples begin at 001: so do ours, and the seventh chapter is 007.
"""

import re
from collections.abc import Iterable, Iterator
from typing import Any, BinaryIO

import mutagen
from mutagen.flac import FLAC, StreamInfo
from mutagen.oggflac import OggFLAC
from mutagen.oggopus import OggOpus
from mutagen.oggvorbis import OggVorbis

import exporters.copies.ogg_pages  # noqa: F401  writes large comments in time
from batch.names import MADE_BY
from batch.tag_bounds import TooLargeTagsError
from exporters.chapters.chapter import Chapter, clock

MOST_CHAPTERS = 999

_REPLACED = re.compile(r"CHAPTER[0-9]{3}(NAME|URL)?", re.IGNORECASE)
_GENERATOR = "GENERATOR"
_OGG = [OggVorbis, OggOpus, OggFLAC]

_MOST_BYTES, _MOST_READS = 32 << 20, 1 << 18
"""Of a file for its tags: pictures are smaller, and no program writes 100,000 of anything (our choice)."""

Comment = tuple[str, str]


class _Sparing:
    """A file from its start of which only so much is read, in so many pieces: mutagen keeps them all."""

    def __init__(self, stream: BinaryIO) -> None:
        stream.seek(0)
        self._bytes, self._reads = _MOST_BYTES, _MOST_READS
        self._stream, self.seek, self.tell = stream, stream.seek, stream.tell

    def read(self, size: int = -1) -> bytes:
        """Read as ever; TooLargeTagsError once too much was read."""
        content = self._stream.read(size if 0 <= size <= self._bytes else self._bytes + 1)
        self._bytes -= len(content)
        self._reads -= 1
        if self._bytes < 0:
            raise TooLargeTagsError(f"of more than {_MOST_BYTES >> 20} MiB")
        if self._reads < 0:
            raise TooLargeTagsError("of more than 100,000 pieces")
        return content


def add_to_flac(copy: BinaryIO, chapters: Iterable[Chapter], more: Iterable[Comment] = ()) -> None:
    """Write chapters into a FLAC file; mutagen's errors as they come.

    The comments stand right after the stream's own data, before pictures, so that who made the copy is seen
    near its start.
    """
    file = FLAC(_Sparing(copy))  # type: ignore[no-untyped-call]
    if file.tags is None:
        file.add_tags()  # type: ignore[no-untyped-call]
    _put(file.tags, chapters, more)
    blocks = [block for block in file.metadata_blocks if block is not file.tags]
    first = 1 + next(at for at, block in enumerate(blocks) if block.code == StreamInfo.code)
    file.metadata_blocks[:] = [*blocks[:first], file.tags, *blocks[first:]]
    copy.seek(0)
    file.save(copy)


def add_to_ogg(copy: BinaryIO, chapters: Iterable[Chapter], more: Iterable[Comment] = ()) -> None:
    """Write chapters into Vorbis, Opus or FLAC in Ogg; ValueError if it holds none of these."""
    file = mutagen.File(_Sparing(copy), options=_OGG)
    if file is None:
        raise ValueError("no Vorbis, Opus or FLAC in Ogg")
    _put(file.tags, chapters, more)
    copy.seek(0)
    file.save(copy)


def _put(tags: Any, chapters: Iterable[Chapter], more: Iterable[Comment]) -> None:
    """Put ours first; of the recording's own comments all stay but those of its chapters."""
    made_by = (_GENERATOR, MADE_BY)
    own = [(key, value) for key, value in tags if not _REPLACED.fullmatch(key)]
    own = [(key, value) for key, value in own if (key.upper(), value) != made_by]
    tags[:] = [*_comments(chapters), *more, *own]


def _comments(chapters: Iterable[Chapter]) -> Iterator[Comment]:
    yield _GENERATOR, MADE_BY
    for number, chapter in enumerate(chapters, start=1):
        yield f"CHAPTER{number:03}", clock(chapter.start_ms)
        yield f"CHAPTER{number:03}NAME", chapter.title
