"""Small files that would fill the memory or never end: refused in one line, or read in little of either."""

import struct
import time
import tracemalloc
import zlib
from pathlib import Path

import mutagen
import numpy as np
import pytest
import soundfile
from building import analysis_of, grid_of, phrases_at

from batch.contract import dump_analysis, parse_analysis
from batch.errors import BatchError, SettingsError, TakeError
from batch.midi_file import MOST_CHANGES, MOST_KEYS
from batch.midi_take import read_performance, read_tempo_map
from batch.settings_file import load_settings
from batch.strums import gathered
from batch.tags import Tags, read_tags
from batch.takes import open_take
from batch.tempo import TempoMap

END = b"\x00\xff\x2f\x00"
NOTE = b"\x00\x90\x3c\x40\x60\x3c\x00"
SECONDS = 20
"""Far more than a busy machine needs, far less than what was mended took."""


def smf(*tracks: bytes, division: int = 96) -> bytes:
    """Return a file of format 1 (Standard MIDI Files 1.0)."""
    chunks = [b"MTrk" + struct.pack(">I", len(track)) + track for track in tracks]
    return b"MThd" + struct.pack(">IHHH", 6, 1, len(tracks), division) + b"".join(chunks)


def changes(count: int) -> bytes:
    return smf(b"".join(b"\x01\xff\x51\x03\x07\xa1" + bytes([i % 100]) for i in range(count)) + END)


FASTEST = b"\x00\xff\x51\x03\x00\xea\x60" + b"\x00\xff\x58\x04\x01\x06\x18\x08"  # 60,000 us; 1/64
MIDI = {
    "the length of a track of 4 GiB": (smf(NOTE)[:18] + b"\xff\xff\xff\xff" + NOTE, "cut short"),
    "65,535 tracks that are not there": (smf(NOTE)[:10] + b"\xff\xff" + smf(NOTE)[12:], "1 of 65535 tracks"),
    "a time of two million bytes": (smf(b"\xff" * 2_000_000 + END), "a quantity does not end"),
    "a text longer than its track": (smf(b"\x00\xff\x01\xff\xff\xff\x7f" + END), "longer than its track"),
    "times of 2 to the 28th": (smf(b"\xff\xff\xff\x7f\x90\x3c\x40" * 1000), "lasts 388,361 hours"),
    "tempos without end": (changes(MOST_CHANGES + 1), "more than 100,000 changes of tempo and meter"),
    "notes without end": (smf(NOTE * (MOST_KEYS // 2 + 1)), "more than 250,000 notes"),
    "16,000 beats a minute": (smf(FASTEST + NOTE + END), "states 16,000 beats a minute"),
    "a running status with none before": (smf(b"\x00\x3c\x40" * 1000), "running status"),
}


@pytest.mark.parametrize("name", MIDI)
def test_a_midi_file_that_states_nonsense_is_refused_at_once(tmp_path, name):
    content, said = MIDI[name]
    path = tmp_path / "take.mid"
    path.write_bytes(content)
    began_s = time.monotonic()
    with pytest.raises(TakeError, match=said) as error:
        read_performance(path)
    assert time.monotonic() - began_s < SECONDS
    assert str(error.value).isprintable()


def test_a_map_whose_beats_would_fill_the_memory_is_refused(tmp_path):
    path = tmp_path / "tempo.mid"
    path.write_bytes(smf(FASTEST + END))
    with pytest.raises(TakeError, match="states 16,000 beats a minute"):
        read_tempo_map(path)


def test_a_midi_file_of_20_gib_is_not_read(tmp_path):
    path = tmp_path / "take.mid"
    with path.open("wb") as stream:
        stream.write(smf(NOTE))
        stream.truncate(20 << 30)  # takes no room on the disk
    with pytest.raises(TakeError, match="holds more than 67,108,864 bytes"):
        read_performance(path)


def test_as_many_tracks_as_can_be_are_read(tmp_path):
    path = tmp_path / "take.mid"
    path.write_bytes(smf(*[END] * 65_534, NOTE + END))
    began_s = time.monotonic()
    assert len(read_performance(path).notes) == 1
    assert time.monotonic() - began_s < SECONDS


def test_a_million_controller_moves_take_no_memory(tmp_path):
    path = tmp_path / "take.mid"
    path.write_bytes(smf(b"\x00\xb0\x01\x40" + b"\x01\x01\x40" * 300_000 + NOTE + END))
    tracemalloc.start()
    read_performance(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 5 << 20, "the file has a megabyte and is held twice"


def test_unknown_chunks_between_tracks_and_what_follows_an_end_do_not_matter(tmp_path):
    # Standard MIDI Files 1.0: programs should treat alien chunks as if they weren't there.
    content = smf(NOTE + END + b"\x00\x90\x3e\x40")
    path = tmp_path / "take.mid"
    path.write_bytes(content[:14] + b"XFIH\x00\x00\x00\x02ab" + content[14:])
    assert [note.pitch_midi for note in read_performance(path).notes] == [60.0]


def test_a_strum_without_end_is_gathered_at_once(tmp_path):
    # Ten keys a tick of 15 us, none let go: 40,000 notes within the 0.16 s of the slowest strum.
    roll = b"".join(bytes([i % 10 == 0, 0x90 | i % 9, 30 + i % 90, 64]) for i in range(40_000))
    path = tmp_path / "take.mid"
    path.write_bytes(smf(roll + b"\x83\xff\x7f\xff\x2f\x00", division=0x7FFF))
    began_s = time.monotonic()
    performance = read_performance(path)
    assert time.monotonic() - began_s < SECONDS
    assert performance.texture is not None and performance.texture.events == len(performance.notes)
    assert gathered(()) == ()


def wav() -> bytes:
    """Return a second of noise, canonical: 12 bytes of RIFF, then chunks."""
    with np.errstate(all="ignore"):
        sound = (np.random.default_rng(3).uniform(-0.5, 0.5, 22_050) * 32_767).astype("<i2").tobytes()
    form = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, 1, 22_050, 44_100, 2, 16)
    chunks = form + struct.pack("<4sI", b"data", len(sound)) + sound
    return b"RIFF" + struct.pack("<I", len(chunks) + 4) + b"WAVE" + chunks


def test_a_million_chunks_before_the_sound_are_refused(tmp_path):
    path = tmp_path / "take.wav"
    path.write_bytes(wav()[:12] + b"JUNK\0\0\0\0" * 1_000_000 + wav()[12:])
    with pytest.raises(TakeError, match="holds more than 10,000 chunks before its sound"):
        open_take(path, "")
    path.write_bytes(wav() + b"JUNK\0\0\0\0" * 20_000)
    assert open_take(path, "").info.duration_s == 1.0


def packed_title(version: int) -> bytes:
    """Return an ID3 tag whose title is 64 MiB packed to 64 KiB (id3.org, 2.3: 3.3.1; 2.4: 4.1.2)."""
    packed = zlib.compress(b"\x03" + b"T" * (64 << 20), 9)
    size = len(packed) + 4
    if version == 3:
        frame = b"TIT2" + struct.pack(">I", size) + b"\x00\x80" + struct.pack(">I", 64 << 20) + packed
    else:
        frame = b"TIT2" + seven_bits(size) + b"\x00\x09" + seven_bits(64 << 20) + packed
    return b"ID3" + bytes([version, 0, 0]) + seven_bits(len(frame)) + frame


def seven_bits(value: int) -> bytes:
    return bytes(value >> shift & 0x7F for shift in (21, 14, 7, 0))


@pytest.mark.parametrize("version", [3, 4])
def test_a_packed_title_is_not_unpacked_without_end(tmp_path, version):
    path = tmp_path / "take.mp3"
    soundfile.write(path, np.zeros(22_050), 22_050)
    path.write_bytes(packed_title(version) + path.read_bytes())
    tracemalloc.start()
    tags = read_tags(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert tags.title is None or len(tags.title) <= 200
    assert peak < 48 << 20, "32 MiB are read at most, and a mebibyte is unpacked"


FRAMES = {2: b"PRV\0\0\1\0", 3: b"PRIV\0\0\0\1\0\0\0", 4: b"PRIV\0\0\0\1\0\0\0"}


@pytest.mark.parametrize("flags", [0, 0x80])
@pytest.mark.parametrize("version", FRAMES)
def test_frames_without_end_are_not_read(tmp_path, version, flags):
    path = tmp_path / "take.mp3"
    content = FRAMES[version] * (1 << 20)
    path.write_bytes(b"ID3" + bytes([version, 0, flags]) + seven_bits(len(content)) + content)
    began_s = time.process_time()
    assert read_tags(path).title is None
    assert time.process_time() - began_s < SECONDS


def test_frames_without_end_behind_a_large_one_and_inside_chapters_are_not_read(tmp_path):
    path = tmp_path / "take.mp3"
    inside = FRAMES[4] * 19_000
    chapter = b"CHAP" + seven_bits(18 + len(inside)) + bytes(2) + b"c\0" + bytes(16) + inside
    picture = b"APIC" + seven_bits(1 << 23) + bytes(2) + bytes(1 << 23)
    content = chapter * 50 + FRAMES[4] * 10_000 + picture
    path.write_bytes(b"ID3\4\0\0" + seven_bits(len(content)) + content)
    began_s = time.process_time()
    assert read_tags(path).title is None
    assert time.process_time() - began_s < SECONDS


def test_a_packed_title_of_a_sane_length_is_read(tmp_path):
    path = tmp_path / "take.mp3"
    soundfile.write(path, np.zeros(22_050), 22_050)
    packed = zlib.compress(b"\x03Lo")
    frame = b"TIT2" + struct.pack(">I", len(packed) + 4) + b"\x00\x80" + struct.pack(">I", 3) + packed
    path.write_bytes(b"ID3\x03\x00\x00" + seven_bits(len(frame)) + frame + path.read_bytes())
    assert read_tags(path).title == "Lo"


def test_pictures_of_a_hundred_megabytes_are_not_kept(tmp_path):
    path = tmp_path / "take.flac"
    soundfile.write(path, np.zeros(22_050), 22_050)
    file = mutagen.File(path)
    file["title"] = "Lo"
    for _ in range(7):
        picture = mutagen.flac.Picture()
        picture.data = bytes(15 << 20)
        file.add_picture(picture)
    file.save()
    tracemalloc.start()
    assert read_tags(path) == Tags()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 150 << 20
    assert open_take(path, "").info.duration_s == 1.0


def test_a_title_of_a_megabyte_becomes_one_of_a_line(tmp_path):
    path = tmp_path / "take.ogg"
    soundfile.write(path, np.zeros(22_050), 22_050)
    file = mutagen.File(path)
    file["title"] = "Lo \n" * 250_000
    file.save()
    title = read_tags(path).title
    assert title is not None and title.startswith("Lo Lo") and len(title) <= 200


TOML = {
    "lists": b"a=" + b"[" * 100_000,
    "tables": b"a=" + b"{a=" * 50_000,
    "parts of a key": b"a" + b".a" * 50_000 + b"=1",
    "parts of a section": b"[" + b"a" + b".a" * 50_000 + b"]",
    "digits": b"[grid]\ntempo_bpm=" + b"9" * 5000,
    "control characters": b'["\\u001b[31m\\n"]\nx=1',
    "megabytes": b"#" * (2 << 20),
    "mistakes": b"".join(b'[takes."%d"]\nx=1\n' % number for number in range(2000)),
}


@pytest.mark.parametrize("name", TOML)
def test_settings_of_nonsense_are_refused_in_plain_lines(tmp_path, name):
    (tmp_path / "takemill.toml").write_bytes(TOML[name])
    began_s = time.monotonic()
    with pytest.raises(SettingsError) as error:
        load_settings(tmp_path)
    assert time.monotonic() - began_s < SECONDS
    lines = str(error.value).split("\n")
    assert len(lines) <= 51
    assert all(line.isprintable() and line.startswith(str(tmp_path)) for line in lines)


@pytest.mark.parametrize("name", ["start_s", "us_per_quarter", "numerator", "ticks_per_quarter"])
@pytest.mark.parametrize("value", [b"1e308", b"-1e308", b"99999999999999999999"])
def test_an_analysis_with_numbers_that_only_damage_makes_is_refused(name, value):

    grid = grid_of([0.0, 0.5], [1, 2], tempo_map=TempoMap.constant(120, (4, 4), 960))
    content = dump_analysis(analysis_of(phrases_at([(0.5, 1.0)]), grid=grid))
    key = f'"{name}": '.encode()
    at = content.index(key) + len(key)
    end = min(content.index(mark, at) for mark in (b",", b"}") if mark in content[at:])
    assert parse_analysis(content, Path("x")).phrases
    with pytest.raises(BatchError, match="is no analysis that can be read"):
        parse_analysis(content[:at] + value + content[end:], Path("x"))
