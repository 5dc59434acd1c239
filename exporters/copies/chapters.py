"""A copy to listen to: the recording with its phrases as chapters, which phones and players step through."""

import shutil
import struct
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO, Literal

import mutagen
from mutagen.mp3 import HeaderNotFoundError, MPEGInfo

from batch.errors import TakeError, UnfitError
from batch.kinds import MIDI_SUFFIXES
from batch.model import Analysis, TakeInfo
from batch.names import MADE_BY
from batch.regular import open_regular, size_of, unreadable
from batch.sound.chunks import HEAD_BYTES, kind_of
from exporters.chapters.chapter import Chapter, ChapterSettings
from exporters.chapters.takes import chapters_of
from exporters.copies.chapters_comments import MOST_CHAPTERS, Comment, add_to_flac, add_to_ogg
from exporters.copies.chapters_encoding import encode
from exporters.copies.chapters_id3 import with_chapters

_ENDINGS = {".mp3": "mp3", ".flac": "flac", ".ogg": "ogg", ".oga": "ogg", ".opus": "opus"}
"""Kinds that hold chapters, and what their copies end in."""
_KINDS = {"mp3": "MP3", "flac": "FLAC", "ogg": "Ogg file", "opus": "Ogg file"}

_MARK_WITHIN = 1 << 16
"""Who made a copy is looked for so far from its start."""

_BROKEN = (mutagen.MutagenError, ValueError, LookupError, EOFError, TypeError, struct.error, AssertionError)
"""What mutagen raises on damaged files."""


@dataclass(frozen=True, slots=True)
class Chapters:
    """MP3, FLAC and Ogg are copied as they are and get chapters; others are encoded, if that is asked for."""

    settings: ChapterSettings = field(default_factory=ChapterSettings)
    encode: Literal["no", "flac", "ogg"] = "no"
    suffixes: tuple[str, ...] = tuple(f".chapters.{ending}" for ending in ("mp3", "flac", "ogg", "opus"))

    def suffix_for(self, recording: str) -> str:
        """Return what a copy's name ends in; UnfitError if this kind of recording gets none."""
        ending = Path(recording).suffix.lower()
        if ending in MIDI_SUFFIXES:
            raise UnfitError("a MIDI take has no sound to copy; its markers are in the marker file")
        if ending not in _ENDINGS and self.encode == "no":
            kind = ending.removeprefix(".").upper() or "such"
            remedy = "set encode under [chapters] to flac or ogg, or ask for cue-points"
            raise UnfitError(f"{kind} files hold no chapters; {remedy}")
        return f".chapters.{_ENDINGS.get(ending, self.encode)}"

    def copy(self, analysis: Analysis, recording: Path, copy: BinaryIO) -> None:
        """Write the recording with its chapters; with none where the take has no phrases.

        Raises
        ------
        TakeError
            If the recording cannot be read, or is not what its ending says.
        UnfitError
            As for its name.
        """
        kind = self.suffix_for(recording.name).rpartition(".")[2]
        held = None if kind == "mp3" else MOST_CHAPTERS
        chapters = chapters_of(analysis, self.settings, held=held)
        if recording.suffix.lower() not in _ENDINGS:
            encode(recording, "flac" if kind == "flac" else "ogg", copy)
            tagged = _tags_of(analysis.take)
        else:
            tagged = ()
            _copy_as_it_is(recording, kind, chapters, copy)
        if kind != "mp3":
            with _in_plain_words(recording, kind):
                (add_to_flac if kind == "flac" else add_to_ogg)(copy, chapters, tagged)
        _refuse_unmarked(recording, copy)


def _copy_as_it_is(recording: Path, kind: str, chapters: Sequence[Chapter], copy: BinaryIO) -> None:
    """Copy the bytes of a recording; of an MP3 with a new tag in front, all behind it untouched."""
    try:
        with open_regular(recording) as source:
            if kind == "mp3":
                with _in_plain_words(recording, kind):
                    tag, taken = with_chapters(source, size_of(source), chapters)
                _refuse_other_than_mp3(recording, source, taken)
                copy.write(tag)
                source.seek(taken)
            shutil.copyfileobj(source, copy)
    except OSError as error:
        if error.filename == str(recording):
            raise unreadable(recording, error) from error
        raise


def _refuse_other_than_mp3(recording: Path, source: BinaryIO, start: int) -> None:
    source.seek(start)
    head = source.read(HEAD_BYTES)
    is_other = kind_of(head) is not None or head.startswith((b"OggS", b"fLaC")) or head[4:8] == b"ftyp"
    with _in_plain_words(recording, "mp3"):
        if is_other or MPEGInfo(source, start).sketchy:
            raise HeaderNotFoundError("no frames")


def _tags_of(take: TakeInfo) -> tuple[Comment, ...]:
    """Return what the recording says of itself, by the names of Vorbis comments ("Field names", xiph.org)."""
    said = (("TITLE", take.title), ("ARTIST", take.player), ("DATE", take.recorded_at))
    return tuple((key, value) for key, value in said if value)


def _refuse_unmarked(recording: Path, copy: BinaryIO) -> None:
    """Refuse a copy that would not be known as ours: something large stands in front of its tags."""
    copy.seek(0)
    if MADE_BY.encode("ascii") not in copy.read(_MARK_WITHIN):
        raise TakeError(
            recording,
            "has something large in front of its tags",
            "take the ID3 tag out of it, or export it again",
        )


@contextmanager
def _in_plain_words(recording: Path, kind: str) -> Iterator[None]:
    """Turn what readers of tags raise on damage, or on what is of another kind, to a TakeError."""
    try:
        yield
    except _BROKEN as error:
        if error.args and isinstance(error.args[0], OSError):
            raise error.args[0] from error  # mutagen wraps a full disk too
        problem = f"is no {_KINDS[kind]} whose tags can be read"
        remedy = "give it the ending of what it is, or export it again"
        raise TakeError(recording, problem, remedy) from error
