"""A copy of a WAV file with a cue point and a region for each phrase.

Programs that record or edit sound show cue points as markers, and many show their lengths as regions. The
copy has the same sound, bit for bit, and all else that the recording holds. Cue points that it has
already stay as they are; ours come after them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from batch.errors import UnfitError
from batch.kinds import MIDI_SUFFIXES
from batch.model import Analysis
from batch.settings import MARKED, LabelName
from exporters.copies.wav_marks import marks_of

WAV_SUFFIXES = frozenset({".wav", ".wave", ".bwf", ".rf64", ".bw64"})
"""Endings that RIFF WAVE and its long kin go by."""

_SUFFIX = ".markers.wav"


@dataclass(frozen=True, slots=True)
class CuePoints:
    """Cue points at phrase starts, with labels, and regions as long as the phrases.

    With ``moments`` there are others where tension builds, peaks and is released.
    """

    labels: Sequence[LabelName] = MARKED
    devices: bool = False
    moments: bool = False
    suffixes: tuple[str, ...] = (_SUFFIX,)

    def suffix_for(self, recording: str) -> str:
        """Return what follows the take's name in the copy's; UnfitError if it is no WAV by its name."""
        kind = Path(recording).suffix.lower()
        if kind in MIDI_SUFFIXES:
            raise UnfitError("a MIDI take has no sound for cue points to stand in; use its marker file")
        if kind not in WAV_SUFFIXES:
            raise UnfitError("only WAV files hold cue points; ask for chapters instead")
        return _SUFFIX

    def copy(self, analysis: Analysis, recording: Path, copy: BinaryIO) -> None:
        """Write the recording with its phrases as cue points; TakeError as from ``write_marked``."""
        # Imported here: what knows sound files takes a while to load, and most commands do without it.
        from exporters.copies.wav_marked import write_marked  # noqa: PLC0415

        marks = marks_of(analysis, labels=self.labels, devices=self.devices, moments=self.moments)
        write_marked(recording, copy, marks)
