"""How positions in a WAV file's sound are told to its cue points: by the chunk ``fmt ``.

Multimedia Programming Interface and Data Specifications 1.0 (IBM and Microsoft, 1991), chapter 3, "Cue-Points
Chunk" and "Examples of File Position Values", for a file with a single chunk ``data``: in PCM the block
starts at 0, and the sample offset counts sample frames from the start of the sound. In other data the block
is the one that encloses the position, and the sample offset counts from its start. What is coded sample by
sample (float, A-law, mu-law) has no blocks: its sound is one, and positions are as in PCM. ADPCM and GSM
6.10 have blocks of one size that state how many samples they hold. MPEG and others do not.
"""

import struct
from dataclasses import dataclass
from typing import BinaryIO

from batch.errors import TakeError
from exporters.copies.riff_form import DAMAGED, Form, content_of

_BY_SAMPLE = {1: "PCM", 3: "float", 6: "A-law", 7: "mu-law"}
_BY_BLOCK = {2: "Microsoft ADPCM", 0x11: "IMA ADPCM", 0x31: "GSM 6.10"}
"""Format tags (Microsoft, "New Multimedia Data Types and Data Techniques" 3.0, 1994). In those coded by
the block, how many samples one holds stands right after the size of the extra fields."""
_EXTENSIBLE = 0xFFFE
"""WAVE_FORMAT_EXTENSIBLE: the tag is in the first two bytes of the SubFormat at byte 24."""

_COMMON = struct.Struct("<HHIIHH")
"""Tag, channels, sample frames a second, bytes a second, bytes a block, bits a sample."""
_SAMPLES_A_BLOCK_AT = 18
_SUBFORMAT_AT = 24
_MOST_BYTES = 1 << 12


@dataclass(frozen=True, slots=True)
class WavSound:
    """Sample frames a second, and the blocks that the sound is coded in; one frame each if by sample."""

    rate_hz: int
    block_bytes: int
    block_frames: int

    def frames_in(self, length: int) -> int:
        """Return how many frames ``length`` bytes hold."""
        return length // self.block_bytes * self.block_frames

    def place(self, frame: int) -> tuple[int, int]:
        """Return the start of the enclosing block in bytes, and the frame counted from there."""
        if self.block_frames == 1:
            return 0, frame
        block, offset = divmod(frame, self.block_frames)
        return block * self.block_bytes, offset


def read_sound(form: Form, stream: BinaryIO) -> WavSound:
    """Read how the sound of a form is coded; TakeError if its header is nonsense or it has no such blocks."""
    content = content_of(form, stream, form.first(b"fmt "), _MOST_BYTES)
    if len(content) < _COMMON.size:
        raise TakeError(form.path, f"states its format in {len(content)} bytes", DAMAGED)
    tag, _, rate_hz, _, block_bytes, _ = _COMMON.unpack_from(content)
    if tag == _EXTENSIBLE:
        tag = int.from_bytes(content[_SUBFORMAT_AT : _SUBFORMAT_AT + 2], "little")
    if tag not in {**_BY_SAMPLE, **_BY_BLOCK}:
        problem = f"is coded in a way (format tag {tag:#06x}) in which cue points cannot say where they are"
        raise TakeError(form.path, problem, "export it as plain WAV (PCM), or use its cue list")
    in_block = content[_SAMPLES_A_BLOCK_AT : _SAMPLES_A_BLOCK_AT + 2]
    block_frames = int.from_bytes(in_block, "little") if tag in _BY_BLOCK else 1
    if not (rate_hz and block_bytes and block_frames):
        problem = f"states {rate_hz:,} Hz and blocks of {block_bytes:,} bytes and {block_frames:,} samples"
        raise TakeError(form.path, problem, DAMAGED)
    return WavSound(rate_hz, block_bytes, block_frames)
