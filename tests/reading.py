"""A marker file as other programs' libraries read it: mido, pretty_midi, symusic and music21."""

import io
import warnings
from bisect import bisect_right
from collections.abc import Callable, Sequence
from itertools import accumulate, pairwise

import mido
import symusic

with warnings.catch_warnings():
    # pretty_midi 0.2.11 asks setuptools for its own files in a way that setuptools warns of.
    warnings.filterwarnings("ignore", message="pkg_resources is deprecated", category=UserWarning)
    warnings.filterwarnings(
        "ignore", message="Deprecated call to `pkg_resources", category=DeprecationWarning
    )
    import pretty_midi

pretty_midi.pretty_midi.MAX_TICK = 10**9
"""It takes an hour at 180 a minute for corrupt otherwise."""


def opened(content: bytes) -> mido.MidiFile:
    return mido.MidiFile(file=io.BytesIO(content))


def of_type(content: bytes, kind: str) -> list[tuple[int, mido.MetaMessage]]:
    """Return messages of one type in any track, with their ticks."""
    return [
        (tick, message)
        for track in opened(content).tracks
        for tick, message in zip(accumulate(m.time for m in track), track, strict=True)
        if message.type == kind
    ]


def markers_by_mido(content: bytes) -> list[tuple[float, str]]:
    """Return seconds and text, by mido's own clock."""
    messages = list(opened(content))
    times = accumulate(message.time for message in messages)
    return [(time, m.text) for time, m in zip(times, messages, strict=True) if m.type == "marker"]


def clock_by_symusic(score: symusic.Score) -> Callable[[int], float]:
    """Return seconds at a tick, added up from the tempos that symusic read.

    symusic's own seconds are 32-bit sums, milliseconds out after some thousand tempo changes.
    """
    return clock_of([(tempo.time, tempo.mspq) for tempo in score.tempos], score.tpq)


def markers_by_symusic(content: bytes) -> list[tuple[float, str]]:
    score = symusic.Score.from_midi(content)
    seconds = clock_by_symusic(score)
    return [(seconds(marker.time), marker.text) for marker in score.markers]


def spans_by_pretty_midi(content: bytes) -> list[tuple[float, float]]:
    instruments = pretty_midi.PrettyMIDI(io.BytesIO(content)).instruments
    return sorted((note.start, note.end) for instrument in instruments for note in instrument.notes)


def spans_by_symusic(content: bytes) -> list[tuple[float, float]]:
    score = symusic.Score.from_midi(content)
    seconds = clock_by_symusic(score)
    notes = [note for track in score.tracks for note in track.notes]
    return sorted((seconds(note.start), seconds(note.end)) for note in notes)


def clock_of(tempos: Sequence[tuple[int, int]], ticks_per_quarter: int) -> Callable[[int], float]:
    """Return seconds at a tick, added up from the tempos (tick, microseconds) that a reader found."""
    ticks = [tick for tick, _ in tempos]
    spans = [(b - a) * us / ticks_per_quarter for (a, us), (b, _) in pairwise(tempos)]
    starts_us = list(accumulate(spans, initial=0.0))

    def seconds(tick: int) -> float:
        i = bisect_right(ticks, tick) - 1
        return (starts_us[i] + (tick - ticks[i]) * tempos[i][1] / ticks_per_quarter) / 1e6

    return seconds


def markers_by_pretty_midi(content: bytes, kind: str = "marker") -> list[tuple[float, str]]:
    """Return the markers, which pretty_midi leaves to mido, by pretty_midi's clock."""
    theirs = pretty_midi.PrettyMIDI(io.BytesIO(content))
    return [(float(theirs.tick_to_time(tick)), message.text) for tick, message in of_type(content, kind)]


def by_music21(content: bytes) -> tuple[list[tuple[float, str]], list[tuple[float, float]]]:
    """Return markers (or cue points) and spans, from the events and tempos that music21's reader found."""
    from music21 import midi  # noqa: PLC0415  slow to load

    theirs = midi.MidiFile()
    theirs.openFileLike(io.BytesIO(content))
    theirs.read()
    events = [
        (tick, event)
        for track in theirs.tracks
        for tick, event in zip(
            accumulate(e.time for e in track.events if e.isDeltaTime()),
            [e for e in track.events if not e.isDeltaTime()],
            strict=True,
        )
    ]
    kinds = midi.MetaEvents
    tempos = [(t, int.from_bytes(e.data, "big")) for t, e in events if e.type == kinds.SET_TEMPO]
    seconds = clock_of(tempos, theirs.ticksPerQuarterNote)
    texts = [(seconds(t), e.data.decode()) for t, e in events if e.type in {kinds.MARKER, kinds.CUE_POINT}]
    sounding: dict[tuple[int, int], int] = {}
    spans = []
    for tick, event in sorted(events, key=lambda pair: pair[0]):
        if event.isNoteOn():
            sounding[event.channel, event.pitch] = tick
        elif event.isNoteOff() and (event.channel, event.pitch) in sounding:
            spans.append((seconds(sounding.pop((event.channel, event.pitch))), seconds(tick)))
    return sorted(texts), sorted(spans)
