"""Where other programs' readers find phrases: an hour of them, in every format that says positions."""

import io
import json
import math
import random
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np
import soundfile

from batch.model import Analysis
from batch.outline import outline_of
from batch.session import SessionTake, lay_out
from batch.settings import SessionSettings
from exporters.base import Copier
from exporters.chapters.chapter import Division
from exporters.copies.chapters import Chapters
from exporters.copies.cue_points import CuePoints
from exporters.csv_cues import CsvCues
from exporters.midi_markers import MidiMarkers
from exporters.session_timeline import SessionTimeline
from exporters.timeline import Timeline
from exporters.webvtt import WebVtt
from tests.building import analysis_of, phrases_at, take_info

from .tables import Cell, Table

HOUR_S = 3600.0
PHRASES = 900
RATES_HZ = (44_100, 48_000, 96_000)
_SMALLEST = {".wav": ("WAV", "PCM_U8"), ".mp3": ("MP3", None), ".flac": ("FLAC", "PCM_S8"),
             ".ogg": ("OGG", "VORBIS"), ".opus": ("OGG", "OPUS")}  # fmt: skip

Found = list[float]
"""Starts in seconds."""


def formats_tables() -> Iterator[Table]:
    """Yield the largest error of each format by each reader that is there."""
    rows: list[tuple[Cell, ...]] = []
    for format_, reader, find in _readers():
        try:
            errors = [_largest_error(find, rate_hz) for rate_hz in RATES_HZ]
        except ModuleNotFoundError as error:
            print(f"{format_} by {reader} is left out: {error}\n")
            continue
        rows.append((format_, reader, PHRASES, max(errors) * 1000))
    columns = ("format", "reader", "phrases", "largest error (ms)")
    rates = " Hz, ".join(f"{rate_hz:,}" for rate_hz in RATES_HZ)
    yield Table(
        "formats, starts of phrases over an hour", columns, tuple(rows), (f"The worst of {rates} Hz.",)
    )


def _largest_error(find: Callable[[Analysis, int], Found], rate_hz: int) -> float:
    analysis = _an_hour(rate_hz)
    found, wanted = find(analysis, rate_hz), [phrase.start_s for phrase in analysis.phrases]
    if len(found) != len(wanted):
        return math.inf
    return max(abs(a - b) for a, b in zip(found, wanted, strict=True))


def _an_hour(rate_hz: int) -> Analysis:
    chance = random.Random(rate_hz)
    bounds = sorted(chance.uniform(0.0, HOUR_S) for _ in range(2 * PHRASES + 1))
    spans = [(start, end) for start, end in pairwise(bounds)][::2]
    take = take_info(duration_s=HOUR_S, rate_hz=rate_hz)
    return analysis_of(phrases_at(spans[:PHRASES]), take=take)


def _readers() -> Iterator[tuple[str, str, Callable[[Analysis, int], Found]]]:
    yield "MIDI markers", "mido", _by_mido
    yield "MIDI markers", "symusic", _by_symusic
    yield "cue list", "csv", _by_csv
    yield "cue points in WAV", "wavinfo", _by_wavinfo
    if shutil.which("ffprobe"):
        yield "cue points in WAV", "ffprobe", _by_ffprobe(CuePoints(), ".wav")
        for suffix in (".mp3", ".flac", ".ogg", ".opus"):
            yield f"chapters in {suffix[1:]}", "ffprobe", _by_ffprobe(Chapters(Division("phrase")), suffix)
    else:
        print("chapters are left out: ffprobe is not there\n")
    yield "WebVTT", "webvtt-py", _by_webvtt
    yield "OpenTimelineIO, a take", "json", _by_json
    yield "OpenTimelineIO, a session", "opentimelineio", _by_opentimelineio


def _by_mido(analysis: Analysis, _: int) -> Found:
    from tests.reading import markers_by_mido

    return [time_s for time_s, _ in markers_by_mido(MidiMarkers().render(analysis))]


def _by_symusic(analysis: Analysis, _: int) -> Found:
    from tests.reading import markers_by_symusic

    return [time_s for time_s, _ in markers_by_symusic(MidiMarkers().render(analysis))]


def _by_csv(analysis: Analysis, _: int) -> Found:
    import csv

    rows = csv.DictReader(io.StringIO(CsvCues(("start",)).render(analysis).decode()))
    return [_seconds(row["start"]) for row in rows]


def _by_wavinfo(analysis: Analysis, rate_hz: int) -> Found:
    from wavinfo import WavInfoReader

    with tempfile.TemporaryDirectory() as folder:
        copy = _copy(CuePoints(), analysis, rate_hz, ".wav", Path(folder))
        return [cue.position / rate_hz for cue in WavInfoReader(str(copy)).cues.cues]


def _by_ffprobe(copier: Copier, suffix: str) -> Callable[[Analysis, int], Found]:
    def find(analysis: Analysis, rate_hz: int) -> Found:
        with tempfile.TemporaryDirectory() as folder:
            # Chapters are in seconds, whatever the rate: an hour at a low one is soon encoded.
            copy = _copy(copier, analysis, rate_hz if suffix == ".wav" else 16_000, suffix, Path(folder))
            command = ["ffprobe", "-v", "error", "-show_chapters", "-of", "json", str(copy)]
            said = subprocess.run(command, capture_output=True, check=True).stdout
        return [float(chapter["start_time"]) for chapter in json.loads(said)["chapters"]]

    return find


def _by_webvtt(analysis: Analysis, _: int) -> Found:
    import webvtt

    content = WebVtt(Division("phrase")).render(analysis).decode()
    return [_seconds(caption.start) for caption in webvtt.from_string(content).captions]


def _by_json(analysis: Analysis, _: int) -> Found:
    (clip,) = json.loads(Timeline().render(analysis))["tracks"]["children"][0]["children"]
    starts = (marker["marked_range"]["start_time"] for marker in clip["markers"])
    return [start["value"] / start["rate"] for start in starts]


def _by_opentimelineio(analysis: Analysis, _: int) -> Found:
    import opentimelineio

    layout = lay_out([SessionTake("solo", "solo.wav", outline_of(analysis))], SessionSettings())
    timeline = opentimelineio.adapters.read_from_string(SessionTimeline().render(layout).decode())
    (clip,) = timeline.find_clips()
    starts = (marker.marked_range.start_time for marker in clip.markers)
    return [clip.transformed_time(start, timeline.tracks).to_seconds() for start in starts]


def _copy(copier: Copier, analysis: Analysis, rate_hz: int, suffix: str, folder: Path) -> Path:
    """Return the copy of a silent hour that carries the phrases."""
    recording = folder / f"solo{suffix}"
    container, coding = _SMALLEST[suffix]
    with soundfile.SoundFile(recording, "w", rate_hz, 1, coding, format=container) as sound:
        for _ in range(int(HOUR_S)):
            sound.write(np.zeros(rate_hz, dtype=np.float32))
    copy = folder / f"solo{copier.suffix_for(recording.name)}"
    with copy.open("w+b") as stream:
        copier.copy(analysis, recording, stream)
    return copy


def _seconds(clock: str) -> float:
    """Return the seconds of a time of day."""
    seconds: float = 0.0
    for part in clock.split(":"):
        seconds = 60 * seconds + float(part)
    return seconds
