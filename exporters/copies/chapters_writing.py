"""What a copy with chapters is made of: the recording's own bytes or an encoding of it, and its new tags."""

import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from mutagen.mp3 import HeaderNotFoundError, MPEGInfo

from batch.errors import TakeError
from batch.model import Analysis, TakeInfo
from batch.names import MADE_BY
from batch.regular import open_regular, size_of, unreadable
from batch.sound.chunks import HEAD_BYTES, kind_of
from batch.tag_bounds import BROKEN, TooLargeTagsError
from exporters.chapters.chapter import Chapter, Division
from exporters.chapters.takes import chapters_of
from exporters.copies.chapters_comments import MOST_CHAPTERS, Comment, add_to_flac, add_to_ogg
from exporters.copies.chapters_encoding import Encoding, encode
from exporters.copies.chapters_id3 import with_chapters

_WORDS = {"mp3": "MP3", "flac": "FLAC", "ogg": "Ogg file", "opus": "Ogg file"}

_MARK_WITHIN = 1 << 16
"""Who made a copy is looked for so far from its start."""


def write_copy(analysis: Analysis, settings: Division, recording: Path, kind: str, copy: BinaryIO) -> None:
    """Copy a recording that holds chapters, its sound byte for byte; TakeError if it is not of this kind."""
    if kind == "mp3":
        _copy_mp3(recording, chapters_of(analysis, settings), copy)
    else:
        with _opened(recording) as source:
            shutil.copyfileobj(source, copy)
        _add_comments(recording, kind, chapters_of(analysis, settings, held=MOST_CHAPTERS), copy)
    _refuse_unmarked(recording, copy)


def write_encoded(
    analysis: Analysis, settings: Division, recording: Path, encoding: Encoding, copy: BinaryIO
) -> None:
    """Encode a recording that holds no chapters; TakeError as from :func:`encode`."""
    encode(recording, encoding, copy)
    chapters = chapters_of(analysis, settings, held=MOST_CHAPTERS)
    _add_comments(recording, encoding, chapters, copy, _tags_of(analysis.take))


def _copy_mp3(recording: Path, chapters: Sequence[Chapter], copy: BinaryIO) -> None:
    """Write a new tag, then all that lies behind the old one as it is: sound, ID3v1, APEv2."""
    with _opened(recording) as source:
        with _in_plain_words(recording, "mp3"):
            tag, taken = with_chapters(source, size_of(source), chapters)
            _refuse_other_than_mp3(source, taken)
        copy.write(tag)
        source.seek(taken)
        shutil.copyfileobj(source, copy)


def _refuse_other_than_mp3(source: BinaryIO, start: int) -> None:
    source.seek(start)
    head = source.read(HEAD_BYTES)
    is_other = kind_of(head) is not None or head.startswith((b"OggS", b"fLaC")) or head[4:8] == b"ftyp"
    if is_other or MPEGInfo(source, start).sketchy:
        raise HeaderNotFoundError("no frames")


def _add_comments(
    recording: Path, kind: str, chapters: Sequence[Chapter], copy: BinaryIO, more: Sequence[Comment] = ()
) -> None:
    add = add_to_flac if kind == "flac" else add_to_ogg
    with _in_plain_words(recording, kind):
        add(copy, chapters, more)


def _tags_of(take: TakeInfo) -> tuple[Comment, ...]:
    """Return what the recording says of itself, by the names of Vorbis comments ("Field names", xiph.org)."""
    said = (("TITLE", take.title), ("ARTIST", take.player), ("DATE", take.recorded_at))
    return tuple((key, value) for key, value in said if value)


def _refuse_unmarked(recording: Path, copy: BinaryIO) -> None:
    """Refuse a copy that would not be known as ours: something large stands in front of its tags."""
    copy.seek(0)
    if MADE_BY.encode("ascii") not in copy.read(_MARK_WITHIN):
        problem, remedy = (
            "has something large in front of its tags",
            "take the ID3 tag out, or export it again",
        )
        raise TakeError(recording, problem, remedy)


@contextmanager
def _opened(recording: Path) -> Iterator[BinaryIO]:
    try:
        stream = open_regular(recording)
    except OSError as error:
        raise unreadable(recording, error) from error
    with stream:
        yield stream


@contextmanager
def _in_plain_words(recording: Path, kind: str) -> Iterator[None]:
    """Turn what readers of tags raise on damage, or on what is of another kind, to a TakeError."""
    try:
        yield
    except OSError:
        raise
    except TooLargeTagsError as error:
        raise TakeError(recording, f"has tags {error}", "take pictures and the like out of them") from error
    except BROKEN as error:
        if error.args and isinstance(error.args[0], OSError):
            raise error.args[0] from error  # mutagen wraps a full disk too
        problem = f"is no {_WORDS[kind]} whose tags can be read"
        remedy = "give it the ending of what it is, or export it again"
        raise TakeError(recording, problem, remedy) from error
