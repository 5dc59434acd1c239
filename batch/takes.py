"""A path to a take: a recording, or a performance as MIDI, with what the tags inside say."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from batch.errors import TakeError
from batch.kinds import MIDI_SUFFIXES
from batch.midi_take import read_performance
from batch.model import Note, TakeInfo, Texture
from batch.regular import open_regular, size_of, unreadable
from batch.settings import Channel, SoundSettings
from batch.sound import Sound, open_sound
from batch.sound.broadcast import Broadcast, read_broadcast
from batch.sound.channels import Choice, choose, number_of, where_to_listen
from batch.sound.condition import Meter, warnings_of
from batch.sound.peaks import Peaks
from batch.tags import Tags, read_tags
from batch.tempo import TempoMap


@dataclass(frozen=True, slots=True)
class AudioTake:
    """A recording, opened once to see that it can be read and which of its channels to hear."""

    path: Path
    info: TakeInfo
    tempo_bpm: float | None
    sound: Sound
    choice: Choice
    remarks: tuple[str, ...] = ()

    def blocks(self, meter: Meter | None = None, peaks: Peaks | None = None) -> Iterator[np.ndarray]:
        """Yield the take from its start as mono float32 blocks, shape (n,), -1..1.

        The chosen channels are averaged and their constant offset is taken out, or their middle
        is heard. Each call starts a fresh pass, which ``meter`` and ``peaks`` measure.

        Raises
        ------
        TakeError
            If the sound breaks off or holds values that are not numbers.
        """
        if meter:
            meter.start(self.sound.full_scale, self.sound.rate_hz)
        if peaks:
            peaks.start(self.sound.rate_hz)
        yield from self.choice.heard(self._picked(meter, peaks), self.sound.rate_hz)

    def _picked(self, meter: Meter | None, peaks: Peaks | None) -> Iterator[np.ndarray]:
        """Yield the chosen channels (n, chosen) as they were recorded."""
        for block in self.sound.blocks():
            picked = self.choice.picked(block)
            with np.errstate(invalid="ignore", over="ignore"):
                total = picked.sum()  # one number that is none makes the sum none
            if not np.isfinite(total):
                raise TakeError(
                    self.path,
                    "holds samples that are not numbers (NaN or infinity)",
                    "export it again from the recording program",
                )
            if meter:
                meter.add(picked)
            if peaks:
                peaks.add(picked)
            yield picked

    def warnings(self, meter: Meter) -> tuple[str, ...]:
        """Return what the player should know of the recording, after a pass that ``meter`` measured."""
        chosen = [self.choice.reason] if self.choice.reason else []
        remarks = (*self.sound.remarks, *chosen, *self.remarks)
        return warnings_of(meter.condition(), self.info.duration_s, remarks)


@dataclass(frozen=True, slots=True)
class MidiTake:
    """A performance recorded as a Standard MIDI File, with the tempo map it carries.

    ``states_tempo`` is False where the file says nothing and its map is the standard's 120 beats a minute.
    """

    path: Path
    info: TakeInfo
    notes: tuple[Note, ...]
    tempo_map: TempoMap
    texture: Texture | None = None
    states_tempo: bool = True


Take = AudioTake | MidiTake


def open_take(path: Path, fingerprint: str, settings: SoundSettings | None = None) -> Take:
    """Open a take whose content hash is ``fingerprint`` and read its header and tags.

    Raises
    ------
    TakeError
        If the file is empty, is no take, is cut short, cannot be read, or lacks the channel
        that ``settings`` ask for.
    """
    try:
        with open_regular(path) as stream:
            size = size_of(stream)
    except OSError as error:
        raise unreadable(path, error) from error
    if size == 0:
        raise TakeError(path, "is empty", "record it again, or delete it")
    if path.suffix.lower() in MIDI_SUFFIXES:
        return _open_midi(path, fingerprint)
    return _open_audio(path, fingerprint, (settings or SoundSettings()).channel)


def _open_midi(path: Path, fingerprint: str) -> MidiTake:
    performance = read_performance(path)
    info = TakeInfo(
        file=path.name,
        duration_s=performance.duration_s,
        sample_rate_hz=None,
        channels=None,
        title=performance.title,
        recorded_at=None,
        time_reference_s=None,
        content_hash=fingerprint,
    )
    return MidiTake(
        path, info, performance.notes, performance.tempo_map, performance.texture, performance.states_tempo
    )


def _open_audio(path: Path, fingerprint: str, wanted: Channel) -> AudioTake:
    sound = open_sound(path)
    choice = _choice(sound, wanted)
    tags: Tags = read_tags(path)
    broadcast, remarks = _broadcast(path, sound.rate_hz)
    info = TakeInfo(
        file=path.name,
        duration_s=sound.frames / sound.rate_hz,
        sample_rate_hz=sound.rate_hz,
        channels=sound.channels,
        title=tags.title,
        recorded_at=tags.recorded_at or broadcast.recorded_at,
        time_reference_s=broadcast.time_reference_s,
        content_hash=fingerprint,
        player=tags.player,
    )
    return AudioTake(path, info, tags.tempo_bpm, sound, choice, remarks)


def _broadcast(path: Path, rate_hz: int) -> tuple[Broadcast, tuple[str, ...]]:
    """Return what a Broadcast Wave file says of its place, and what is wrong with that."""
    try:
        found = read_broadcast(path, rate_hz)
    except OSError as error:
        raise unreadable(path, error) from error
    if found.time_reference_s is None or not found.is_beyond_a_day:
        return found, ()
    hours = found.time_reference_s / 3600
    remark = f"its time reference, {hours:,.0f} hours, is beyond a day and is left out of account"
    return replace(found, time_reference_s=None), (remark,)


def _choice(sound: Sound, wanted: Channel) -> Choice:
    number = number_of(wanted)
    if number is not None and number > sound.channels:
        problem = (
            f"has {sound.channels} channel{'s' * (sound.channels > 1)}, and sound.channel asks for {wanted}"
        )
        raise TakeError(
            sound.path, problem, 'set it to "auto" in takemill.toml, or to a channel that is there'
        )
    starts, length = where_to_listen(sound.frames, sound.channels, sound.rate_hz)
    return choose(sound.stretches(starts, length), sound.channels, sound.rate_hz, wanted)
