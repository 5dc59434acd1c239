"""What phones and video recorders make, by PyAV (libav): m4a, mp4, mov, webm, wma and their kin.

The decoder takes out the silence that encoders put in front (priming) where the file states
it: a click in the recording stands where it was played.
"""

import math
from collections.abc import Generator, Iterator, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import av
import numpy as np
from av.audio.frame import AudioFrame
from av.audio.stream import AudioStream
from av.container import InputContainer

from batch.errors import TakeError
from batch.sound.libav import counted_s, decoded, from_start, gap_s, opened, samples_of
from batch.sound.model import (
    COPY_AGAIN,
    EIGHT_BIT,
    EXPORT_AGAIN,
    PLAIN,
    Floats,
    FullScale,
    UnknownSoundError,
    block_frames,
    breaks_off,
)
from batch.sound.protection import refuse_locked

_STATING = frozenset({"mov", "matroska", "asf", "avi", "wav", "flac"})
"""Containers, by the first of libav's names, that state their length; the packets of others are counted."""

_SLACK_S, _TRACK_SLACK_S = 0.25, 0.06
"""How far stated lengths are off: those of containers, which count whole packets, and those of tracks."""

_MOST_SILENCE_S = 600.0
"""Lost sound that is filled with silence, in all; more is no recording."""


@dataclass(frozen=True, slots=True)
class MediaSound:
    """A sound track that libav decodes.

    ``slack_s`` is how far its stated length may be off; infinite if it was counted, not stated.
    """

    path: Path
    track: int
    frames: int
    rate_hz: int
    channels: int
    full_scale: FullScale
    slack_s: float
    remarks: tuple[str, ...] = ()

    def blocks(self) -> Iterator[Floats]:
        """Yield the sound from its start as (n, channels); TakeError if it is damaged or breaks off."""
        left, counted = self.frames, math.isinf(self.slack_s)
        with opened(self.path) as container:
            for block in self._gathered(from_start(container, self._stream(container), self.path)):
                # The last packet is padded to its full length.
                wanted = block if counted else block[: max(left, 0)]
                left -= len(wanted)
                if len(wanted):
                    yield wanted
        if left > self.slack_s * self.rate_hz:
            raise breaks_off(self.path, left / self.rate_hz)

    def stretches(self, starts: Sequence[int], length: int) -> Iterator[Floats]:
        """Yield up to ``length`` frames from near each of ``starts``; none where the file is damaged."""
        with opened(self.path) as container:
            stream = self._stream(container)
            for start in starts:
                try:
                    if start:
                        container.seek(round(start / self.rate_hz * av.time_base))
                    with closing(self._gathered(decoded(container, stream, self.path), length)) as blocks:
                        yield from islice(blocks, 1)
                except (av.FFmpegError, TakeError):
                    return  # the reading proper meets the same place and says what is wrong

    def _stream(self, container: InputContainer) -> AudioStream:
        return container.streams.audio[self.track]

    def _gathered(
        self, frames: Iterator[AudioFrame], length: int | None = None
    ) -> Generator[Floats, None, None]:
        """Yield frames joined to blocks of at least ``length``, the last as it comes."""
        length = length or block_frames(self.channels)
        held: list[Floats] = []
        count = 0
        for samples in self._filled(frames):
            held.append(samples)
            count += len(samples)
            if count >= length:
                yield np.concatenate(held)
                held, count = [], 0
        if held:
            yield np.concatenate(held)

    def _filled(self, frames: Iterator[AudioFrame]) -> Iterator[Floats]:
        """Yield the frames' samples, with silence where the time stamps say that some are missing."""
        until_s, filled_s = None, 0.0
        for frame in frames:
            self._refuse_change(frame)
            if lost_s := gap_s(until_s, frame.time):
                filled_s += lost_s
                if filled_s > _MOST_SILENCE_S:
                    raise TakeError(self.path, f"lacks {filled_s:,.0f} s of its sound", COPY_AGAIN)
                yield from self._silence(round(lost_s * self.rate_hz))
            yield samples_of(frame, self.channels)
            until_s = None if frame.time is None else frame.time + frame.samples / self.rate_hz

    def _silence(self, frames: int) -> Iterator[Floats]:
        most = block_frames(self.channels)
        for done in range(0, frames, most):
            yield np.zeros((min(most, frames - done), self.channels), np.float32)

    def _refuse_change(self, frame: AudioFrame) -> None:
        now = (frame.sample_rate, frame.layout.nb_channels)
        if now != (self.rate_hz, self.channels):
            was = f"{self.rate_hz:,} Hz and {self.channels} channels"
            problem = f"changes part-way from {was} to {now[0]:,} Hz and {now[1]}"
            raise TakeError(self.path, problem, EXPORT_AGAIN)


def open_media(path: Path, unknown: UnknownSoundError) -> MediaSound:
    """Find the first sound track of ``path`` that can be decoded.

    Raises
    ------
    TakeError
        ``unknown``, libsndfile's word, if libav knows the container no better; else what is wrong.
    """
    refuse_locked(path)
    try:
        with opened(path) as container:
            tracks = container.streams.audio
            if not tracks:
                problem = "holds video and no sound" if container.streams.video else "holds no sound"
                raise TakeError(path, problem, "take it out of the folder, or put its sound there")
            track, first = _first_decodable(path, container)
            stated_s, slack_s = _stated_s(container, tracks[track])
        if math.isinf(slack_s):
            stated_s = counted_s(path, track)
    except UnknownSoundError as error:
        raise unknown from error
    return MediaSound(
        path=path,
        track=track,
        frames=round(stated_s * first.sample_rate),
        rate_hz=first.sample_rate,
        channels=first.layout.nb_channels,
        full_scale=EIGHT_BIT if first.format.bytes == 1 else PLAIN,
        slack_s=slack_s,
        remarks=(f"holds {len(tracks)} sound tracks: number {track + 1} was heard",)
        if len(tracks) > 1
        else (),
    )


def _first_decodable(path: Path, container: InputContainer) -> tuple[int, AudioFrame]:
    """Return the number of the first track that gives a frame, and that frame."""
    tracks = container.streams.audio
    for number, track in enumerate(tracks):
        with suppress(av.FFmpegError, TakeError), closing(decoded(container, track, path)) as frames:
            for frame in frames:
                return number, frame
        if number + 1 < len(tracks):
            container.seek(0)
    coding = tracks[0].codec_context.name if tracks[0].codec_context else "an unknown way"
    raise TakeError(
        path, f"holds a sound track (coded in {coding}) with no sound that can be decoded", EXPORT_AGAIN
    )


def _stated_s(container: InputContainer, stream: AudioStream) -> tuple[float, float]:
    """Return the track's length as the container states it, and how far that may be off.

    Infinitely far if the container states none, or one that libav estimated.
    """
    kind = container.format.name.split(",")[0]
    if kind in _STATING and stream.duration and stream.time_base:
        return float(stream.duration * stream.time_base), _TRACK_SLACK_S if kind == "mov" else _SLACK_S
    if kind in _STATING and container.duration and len(container.streams) == 1:
        return container.duration / av.time_base - _time_of_start(stream), _SLACK_S
    return 0.0, math.inf


def _time_of_start(stream: AudioStream) -> float:
    return float(stream.start_time * stream.time_base) if stream.start_time and stream.time_base else 0.0
