"""The ``bext`` chunk, laid out by hand after EBU Tech 3285 v2, 2.3, and read back by wavinfo too."""

import struct
from pathlib import Path

import pytest
import soundfile
from recording import RATE, tone
from wavinfo import WavInfoReader

from batch.errors import TakeError
from batch.grid_sources import Sources, find_grid
from batch.settings import Settings
from batch.sound.broadcast import read_broadcast
from batch.takes import open_take
from batch.tempo import TempoMap


def bext(samples: int, date: bytes = b"2026-03-14", time: bytes = b"20:15:03") -> bytes:
    """Return the chunk of version 0: description, originator, its reference, date, time, time reference."""
    content = struct.pack("<256s32s32s10s8sQH254s", b"Second set", b"", b"", date, time, samples, 0, b"")
    assert len(content) == 602
    return struct.pack("<4sI", b"bext", len(content)) + content


def broadcast_wave(path: Path, chunk: bytes, seconds: float = 1.0) -> Path:
    """Write a WAV with ``chunk`` before its sound, as recorders do."""
    soundfile.write(path, tone(seconds), RATE, subtype="PCM_16")
    whole = path.read_bytes()
    size = int.from_bytes(whole[4:8], "little") + len(chunk)
    path.write_bytes(whole[:4] + struct.pack("<I", size) + whole[8:12] + chunk + whole[12:])
    return path


@pytest.mark.parametrize("hours", [0, 1, 23.999])
def test_the_time_reference_is_samples_since_midnight(tmp_path, hours):
    samples = int(hours * 3600 * RATE) + 7
    path = broadcast_wave(tmp_path / "take.wav", bext(samples))
    other = WavInfoReader(str(path)).bext
    assert (other.time_reference, other.originator_date) == (samples, "2026-03-14")
    info = open_take(path, "").info
    assert info.time_reference_s == pytest.approx(other.time_reference / RATE, abs=1e-9)
    assert info.recorded_at == "2026-03-14 20:15:03"


@pytest.mark.parametrize(
    ("date", "time", "said"),
    [
        (b"2026/03/14", b"20.15.03", "2026-03-14 20:15:03"),  # the standard allows - _ : . and space
        (b"2026-03-14", b"\0" * 8, "2026-03-14"),
        (b"\0" * 10, b"20:15:03", None),
        (b"0000-00-00", b"00:00:00", None),
    ],
)
def test_a_date_may_be_written_in_several_ways_or_be_missing(tmp_path, date, time, said):
    path = broadcast_wave(tmp_path / "take.wav", bext(0, date, time))
    assert open_take(path, "").info.recorded_at == said


def test_a_file_without_the_chunk_has_no_place(tmp_path):
    for name in ("take.wav", "take.flac", "take.aiff"):
        soundfile.write(tmp_path / name, tone(0.5), RATE)
        assert open_take(tmp_path / name, "").info.time_reference_s is None


def test_a_chunk_cut_off_is_no_chunk(tmp_path):
    path = broadcast_wave(tmp_path / "take.wav", struct.pack("<4sI", b"bext", 40) + b"x" * 40)
    assert read_broadcast(path, RATE).time_reference_s is None


def test_a_reference_beyond_a_day_is_said_and_left_out(tmp_path):
    path = broadcast_wave(tmp_path / "take.wav", bext(30 * 3600 * RATE))
    take = open_take(path, "")
    assert take.info.time_reference_s is None
    assert take.remarks == ("its time reference, 30 hours, is beyond a day and is left out of account",)


def grid_start(path: Path, settings: dict[str, float]) -> float:
    chosen = Settings.model_validate({"grid": settings})
    grid = find_grid(Sources(open_take(path, ""), chosen, TempoMap(960)), ())
    assert grid is not None
    return grid.starts_at_s


def test_the_time_reference_places_a_take_on_the_session_s_map(tmp_path):
    path = broadcast_wave(tmp_path / "take.wav", bext(int(3601.25 * RATE)))
    assert grid_start(path, {}) == pytest.approx(3601.25)
    assert grid_start(path, {"session_starts_at_s": 3600.0}) == pytest.approx(1.25)
    assert grid_start(path, {"starts_at_s": 2.0}) == pytest.approx(2.0)  # what the player says wins


def test_a_take_before_the_session_s_zero_is_refused_in_one_line(tmp_path):
    path = broadcast_wave(tmp_path / "take.wav", bext(int(3599.5 * RATE)))
    with pytest.raises(TakeError, match=r"0\.500 s before the session's zero.*grid\.session_starts_at_s"):
        grid_start(path, {"session_starts_at_s": 3600.0})
