"""A copy to listen to: the recording with its phrases as chapters, which phones and players step through."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

from batch.errors import UnfitError
from batch.kinds import MIDI_SUFFIXES
from batch.model import Analysis
from batch.settings import Encode
from exporters.chapters.chapter import Division

_ENDINGS = {".mp3": "mp3", ".flac": "flac", ".ogg": "ogg", ".oga": "ogg", ".opus": "opus"}
"""Kinds that hold chapters, and what their copies end in."""


@dataclass(frozen=True, slots=True)
class Chapters:
    """MP3, FLAC and Ogg are copied as they are and get chapters; others are encoded, if that is asked for."""

    settings: Division = field(default_factory=Division)
    encode: Encode = "no"
    suffixes: tuple[str, ...] = tuple(f".chapters.{ending}" for ending in ("mp3", "flac", "ogg", "opus"))

    def suffix_for(self, recording: str) -> str:
        """Return what a copy's name ends in; UnfitError if this kind of recording gets none."""
        ending = Path(recording).suffix.lower()
        if ending in MIDI_SUFFIXES:
            raise UnfitError("a MIDI take has no sound to copy; its markers are in the marker file")
        if ending not in _ENDINGS and self.encode == "no":
            kind = ending.removeprefix(".").upper() or "such"
            remedy = 'encode = "flac" or "ogg" under [chapters] makes a copy that has them'
            raise UnfitError(f"{kind} files get no chapters; {remedy}")
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
        # Imported here: what reads sound takes a while to load, and most runs copy nothing.
        from exporters.copies.chapters_writing import write_copy, write_encoded  # noqa: PLC0415

        kind = self.suffix_for(recording.name).rpartition(".")[2]
        if recording.suffix.lower() in _ENDINGS:
            write_copy(analysis, self.settings, recording, kind, copy)
        else:
            write_encoded(analysis, self.settings, recording, "flac" if kind == "flac" else "ogg", copy)
