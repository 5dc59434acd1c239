"""Blocks of any length to pieces of one length at one rate, each with what lies around it."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import soxr
from numpy.typing import NDArray

Floats = NDArray[np.float32]

RATE_HZ = 24_000
"""Rate all is heard at: frames of 10 and 2 ms are whole samples, and a hi-hat's band is in (our choice)."""

PIECE = 10 * RATE_HZ
"""Samples of a piece: a noise floor is told from ten seconds, and memory stays small (our choice)."""

AROUND = RATE_HZ // 4
"""Samples before and after a piece that may be looked at: longer than any window used."""

_READ_S = 1.0


class NoNumbersError(ValueError):
    """Sound holds NaN or infinity."""


@dataclass(frozen=True, slots=True)
class Piece:
    """Samples from ``first - AROUND`` to ``first + length + AROUND``, zeros where there is no sound."""

    samples: Floats
    first: int
    length: int


def pieces(blocks: Iterable[Floats], rate_hz: int) -> Iterator[Piece]:
    """Yield the sound in ``blocks``, mono (n,) of any lengths, in pieces that do not depend on these.

    Raises
    ------
    ValueError
        If a block is not mono.
    NoNumbersError
        If a block holds NaN or infinity.
    """
    held, first = np.zeros(AROUND, np.float32), 0  # ``held`` begins AROUND before ``first``
    for samples in _resampled(blocks, rate_hz):
        held = np.concatenate([held, samples])
        while len(held) >= PIECE + 2 * AROUND:
            yield Piece(held[: PIECE + 2 * AROUND], first, PIECE)
            held, first = held[PIECE:], first + PIECE
    held = np.concatenate([held, np.zeros(AROUND, np.float32)])
    while (length := min(len(held) - 2 * AROUND, PIECE)) > 0:
        yield Piece(held[: length + 2 * AROUND], first, length)
        held, first = held[length:], first + length


def _resampled(blocks: Iterable[Floats], rate_hz: int) -> Iterator[Floats]:
    if rate_hz == RATE_HZ:
        yield from _even(blocks, int(_READ_S * rate_hz))
        return
    # The resampler's answers to other block lengths may differ in the last bit: it gets one length only.
    stream = soxr.ResampleStream(rate_hz, RATE_HZ, 1, dtype="float32", quality="HQ")
    for block in _even(blocks, int(_READ_S * rate_hz)):
        yield np.asarray(stream.resample_chunk(block))
    yield np.asarray(stream.resample_chunk(np.zeros(0, np.float32), last=True))


def _even(blocks: Iterable[Floats], length: int) -> Iterator[Floats]:
    """Yield the sound in blocks of ``length``, the last one shorter."""
    parts: list[Floats] = []
    count = 0
    for block in blocks:
        if block.ndim != 1:
            raise ValueError(f"blocks must be mono, shape (n,), got {block.shape}")
        if not np.isfinite(block).all():
            raise NoNumbersError("blocks must hold numbers, got NaN or infinity")
        parts.append(np.asarray(block, np.float32))
        count += len(block)
        if count >= length:
            whole = np.concatenate(parts)
            for at in range(0, count - length + 1, length):
                yield whole[at : at + length]
            parts = [whole[count - count % length :].copy()]
            count %= length
    if count:
        yield np.concatenate(parts)
