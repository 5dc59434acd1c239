"""libav by PyAV: a recording opened and decoded frame by frame, its damage turned into plain words."""

from collections.abc import Generator, Iterator
from contextlib import contextmanager
from io import BufferedReader, FileIO
from itertools import islice
from pathlib import Path

import av
import numpy as np
from av.audio.frame import AudioFrame
from av.audio.stream import AudioStream
from av.container import InputContainer

from batch.errors import TakeError
from batch.regular import open_regular, unreadable
from batch.sound.model import COPY_AGAIN, EXPORT_AGAIN, Floats, UnknownSoundError

_DEMUXERS = (
    "mov,mp4,m4a,3gp,3g2,mj2,matroska,webm,asf,ogg,flac,mp3,aac,wav,w64,aiff,caf,au,avi,amr,mpegts,mpeg,"
    "flv,ape,wv,tta,dsf,ac3,eac3"
)
"""Containers of sound and video. Others are off: some open files and addresses that their text names."""

_GAPS_S = (0.05, 60.0)
"""Jumps of the time stamps by which sound was lost: less is rounding, more is a broken stamp."""

_WMA = frozenset({"wmav1", "wmav2"})
_SKIP_BY_HAND = 1 << 29  # AV_CODEC_FLAG2_SKIP_MANUAL

_MOST_BAD_PACKETS = 100
"""Undecodable packets in a row after which a track counts as undecodable."""


@contextmanager
def opened(path: Path) -> Iterator[InputContainer]:
    """Open a recording; libav's complaints become an :class:`UnknownSoundError`.

    One thread a track: takes are worked on side by side.
    """
    try:
        options = {"format_whitelist": _DEMUXERS}
        with (
            _by_content(path) as stream,
            av.open(stream, mode="r", options=options, metadata_errors="replace") as container,
        ):
            for track in container.streams.audio:
                if (context := track.codec_context) is not None:
                    context.thread_count = 1
                    if context.name in _WMA:
                        context.flags2 |= _SKIP_BY_HAND
            yield container
    except av.FFmpegError as error:
        problem = f"is no sound file that can be read ({error.strerror})"
        raise UnknownSoundError(path, problem, EXPORT_AGAIN) from error
    except OSError as error:
        raise unreadable(path, error) from error


def _by_content(path: Path) -> "BufferedReader[FileIO]":
    """Open a file without its name: libav would believe the ending of that."""
    stream = open_regular(path)
    stream.raw.name = "take"
    return stream


def from_start(container: InputContainer, stream: AudioStream, path: Path) -> Iterator[AudioFrame]:
    """Yield the frames of a whole track, without WMA's priming, which its files do not state.

    libav takes out two frames, which suits Windows' encoder; its own puts only one in front.
    """
    frames = decoded(container, stream, path)
    if stream.codec_context.name in _WMA:
        encoder = container.metadata.get("encoder") or container.metadata.get("software") or ""
        yield from islice(frames, 1 if encoder.startswith("Lavf") else 2, None)
    yield from frames


def decoded(container: InputContainer, stream: AudioStream, path: Path) -> Generator[AudioFrame, None, None]:
    """Yield the frames of a track.

    Packets that do not decode are passed over before the first frame and after the last: in
    between, the sound after them would stand too early.
    """
    bad, any_good = 0, False
    for packet in _packets(container, stream, path):
        try:
            frames = packet.decode()
        except av.FFmpegError:
            bad += 1
            if bad >= _MOST_BAD_PACKETS:
                return
            continue
        at_s = _time_s(packet)
        if frames and bad and any_good and at_s is not None:
            problem = f"is damaged at {at_s:.1f} s"
            raise TakeError(path, problem, COPY_AGAIN)
        if frames:
            any_good, bad = True, 0
        yield from frames


def _packets(
    container: InputContainer, stream: AudioStream, path: Path
) -> "Iterator[av.Packet[AudioStream]]":
    try:
        yield from container.demux(stream)
    except av.FFmpegError as error:
        raise TakeError(path, f"breaks off before its end ({error.strerror})", COPY_AGAIN) from error


def _time_s(packet: "av.Packet[AudioStream]") -> float | None:
    if packet.pts is None or packet.time_base is None:
        return None
    return float(packet.pts * packet.time_base)


def counted_s(path: Path, track: int) -> float:
    """Return the length of a track by its packets, none decoded."""
    length_s, until_s = 0.0, None
    with opened(path) as container:
        for packet in _packets(container, container.streams.audio[track], path):
            if (at_s := _time_s(packet)) is not None:
                own_s = float(packet.duration * packet.time_base) if packet.duration else 0.0
                length_s += gap_s(until_s, at_s) + own_s + min(at_s, 0.0) * (until_s is None)
                until_s = at_s + own_s
    return max(length_s, 0.0)


def gap_s(until_s: float | None, now_s: float | None) -> float:
    """Return how much sound was lost between two time stamps, in seconds."""
    if until_s is None or now_s is None:
        return 0.0
    shortest, longest = _GAPS_S
    return now_s - until_s if shortest < now_s - until_s <= longest else 0.0


def samples_of(frame: AudioFrame, channels: int) -> Floats:
    """Return a frame's samples as (n, channels), -1..1."""
    raw = frame.to_ndarray()
    samples = raw.T if frame.format.is_planar else raw.reshape(-1, channels)
    if raw.dtype.kind == "f":
        return np.asarray(samples, dtype=np.float32)
    if raw.dtype.kind == "u":
        return np.asarray((samples.astype(np.float32) - 128.0) / 128.0, dtype=np.float32)
    return np.asarray(samples * np.float32(2.0 ** (1 - 8 * raw.dtype.itemsize)), dtype=np.float32)
