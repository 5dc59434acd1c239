"""Recordings as phones and video recorders make them, by PyAV, and signals to put in them."""

from fractions import Fraction
from pathlib import Path

import av
import numpy as np

RATE = 48_000


def tone(seconds: float, hz: float = 440.0, rate: int = RATE) -> np.ndarray:
    """Return a sine of half full scale, (n,) float32."""
    return (0.5 * np.sin(2 * np.pi * hz * np.arange(round(seconds * rate)) / rate)).astype(np.float32)


def clicks(seconds: float, at_s: tuple[float, ...], rate: int = RATE) -> np.ndarray:
    """Return silence with a millisecond's pulse at each of ``at_s``."""
    sound = np.zeros(round(seconds * rate), np.float32)
    for start in at_s:
        first = round(start * rate)
        sound[first : first + rate // 1000] = 0.8
    return sound


def write_media(
    path: Path,
    channels: list[np.ndarray],
    coding: str,
    rate: int = RATE,
    *,
    bits_a_second: int = 128_000,
    **options: str,
) -> Path:
    """Encode ``channels`` (one or two, of one length); the ending of ``path`` chooses the container."""
    layout = ("mono", "stereo")[len(channels) - 1]
    with av.open(str(path), "w", options=options) as container:
        stream = container.add_stream(coding, rate=rate)
        stream.layout = layout
        stream.bit_rate = bits_a_second
        for first in range(0, len(channels[0]), 1024):
            part = np.ascontiguousarray([channel[first : first + 1024] for channel in channels])
            frame = av.AudioFrame.from_ndarray(part, format="fltp", layout=layout)
            frame.rate, frame.pts, frame.time_base = rate, first, Fraction(1, rate)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def write_video(path: Path) -> Path:
    """Encode a few black pictures and no sound."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("mpeg4", rate=25)
        stream.width, stream.height, stream.pix_fmt = 64, 64, "yuv420p"
        for _ in range(10):
            container.mux(stream.encode(av.VideoFrame(64, 64, "yuv420p")))
        container.mux(stream.encode(None))
    return path
