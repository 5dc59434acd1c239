"""A take as overlapping stretches at the analysis rate, and their notes joined again."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import numpy as np
import soxr

from batch.hearing.features import Floats
from batch.model import Note

AGREE_S = 0.012  # s, two frames: chunks hear the same note when its onset differs by no more


def resampled(blocks: Iterable[Floats], rate_hz: int, target_hz: int) -> Iterator[Floats]:
    """Yield the same sound at ``target_hz``, delay taken out."""
    if rate_hz == target_hz:
        yield from blocks
        return
    stream = soxr.ResampleStream(rate_hz, target_hz, 1, dtype="float32", quality="MQ")
    for block in blocks:
        yield stream.resample_chunk(np.ascontiguousarray(block, dtype=np.float32))
    yield stream.resample_chunk(np.empty(0, np.float32), last=True)


def overlapping(blocks: Iterable[Floats], length: int, overlap: int) -> Iterator[tuple[int, Floats]]:
    """Yield (first sample, samples) of stretches of ``length`` that share ``overlap`` with the next.

    The last may be shorter, or longer by up to ``overlap``: no stretch holds only overlap.
    """
    held: list[Floats] = []
    count, first = 0, 0
    for block in blocks:
        held.append(block)
        count += len(block)
        while count > length + overlap:
            whole = np.concatenate(held)
            yield first, whole[:length]
            held = [whole[length - overlap :]]
            count = len(held[0])
            first += length - overlap
    if count:
        yield first, np.concatenate(held)


def joined(
    earlier: Sequence[Note], later: Sequence[Note], overlap_from_s: float, overlap_to_s: float
) -> list[Note]:
    """Return ``earlier`` up to where both hear the same, nearest the overlap's middle, then ``later``."""
    middle = (overlap_from_s + overlap_to_s) / 2.0
    join_s = min(
        _agreed(earlier, later, overlap_from_s, overlap_to_s), key=lambda s: abs(s - middle), default=middle
    )
    kept = [note for note in earlier if note.onset_s < join_s - AGREE_S]
    follow = [note for note in later if note.onset_s >= join_s - AGREE_S]
    if kept and follow and kept[-1].offset_s > follow[0].onset_s:
        kept[-1] = replace(kept[-1], offset_s=follow[0].onset_s)
    return kept + follow


def _agreed(earlier: Sequence[Note], later: Sequence[Note], from_s: float, to_s: float) -> list[float]:
    """Return the onsets inside the overlap that both heard at the same pitch."""
    found = [note for note in later if from_s <= note.onset_s <= to_s]
    return [
        min(note.onset_s, twin.onset_s)
        for note in earlier
        if from_s <= note.onset_s <= to_s
        for twin in found
        if abs(twin.onset_s - note.onset_s) <= AGREE_S and round(twin.pitch_midi) == round(note.pitch_midi)
    ]
