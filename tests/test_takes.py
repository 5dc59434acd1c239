"""Opening sound files: soundfile (libsndfile) writes them, bytes are then damaged by hand."""

import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile

from batch.errors import TakeError
from batch.sound.model import BLOCK_FRAMES
from batch.takes import AudioTake, MidiTake, open_take

RATE = 44_100
FORMATS = [
    ("take.wav", "WAV", "PCM_16", 2**-15),
    ("take.WAV", "WAV", "PCM_24", 2**-23),
    ("take.wav", "WAV", "FLOAT", 0.0),
    ("take.wav", "WAVEX", "PCM_16", 2**-15),
    ("take.wav", "RF64", "PCM_16", 2**-15),
    ("take.flac", "FLAC", "PCM_16", 2**-15),
    ("take.aiff", "AIFF", "PCM_16", 2**-15),
    ("take.aif", "AIFF", "FLOAT", 0.0),
    ("take.ogg", "OGG", "VORBIS", None),
    ("take.mp3", "MP3", "MPEG_LAYER_III", None),
]
"""File name, container, coding, and the largest error of a sample: one step, or None where it is lossy."""


def tone(frames: int, hz: float = 440.0, rate: int = RATE) -> np.ndarray:
    """Return a sine of half full scale."""
    return (0.5 * np.sin(2 * np.pi * hz * np.arange(frames) / rate)).astype(np.float32)


def whole(take: object) -> np.ndarray:
    assert isinstance(take, AudioTake)
    return np.concatenate(list(take.blocks()))


@pytest.fixture
def wav(tmp_path: Path) -> Path:
    """A second of mono 16-bit sound: 44 bytes of header, 88,200 of samples."""
    path = tmp_path / "take.wav"
    soundfile.write(path, tone(RATE), RATE, subtype="PCM_16")
    assert path.stat().st_size == 44 + 2 * RATE
    return path


@pytest.mark.parametrize(("name", "container", "coding", "step"), FORMATS)
def test_what_was_written_is_read(tmp_path, name, container, coding, step):
    path = tmp_path / name
    sound = tone(3 * RATE)
    soundfile.write(path, sound, RATE, format=container, subtype=coding)
    take = open_take(path, "content")
    assert (take.info.file, take.info.content_hash) == (name, "content")
    assert (take.info.sample_rate_hz, take.info.channels) == (RATE, 1)
    # An MP3 is padded to whole frames of 1152 samples, with up to two more from its coder.
    assert take.info.duration_s == pytest.approx(3.0, abs=3 * 1152 / RATE if container == "MP3" else 0)
    heard = whole(take)
    if step is None:
        assert np.corrcoef(heard[: len(sound)], sound[: len(heard)])[0, 1] > 0.99
    else:
        np.testing.assert_allclose(heard, sound, atol=step)


def test_a_take_comes_in_blocks_of_mono_float32_from_its_start_each_time(tmp_path):
    path = tmp_path / "take.flac"
    sound = tone(2 * BLOCK_FRAMES + 5)
    soundfile.write(path, sound, RATE)
    take = open_take(path, "")
    assert isinstance(take, AudioTake)
    for _ in range(2):
        blocks = list(take.blocks())
        assert [block.shape for block in blocks] == [(BLOCK_FRAMES,), (BLOCK_FRAMES,), (5,)]
        assert {block.dtype for block in blocks} == {np.dtype(np.float32)}
        np.testing.assert_allclose(np.concatenate(blocks), sound, atol=2**-15)


@pytest.mark.parametrize("channels", [2, 3, 6])
def test_channels_are_averaged(tmp_path, channels):
    # Channel k holds a tone k + 1 times as loud as the first: the mean of 1 .. n is (n + 1) / 2.
    path = tmp_path / "take.wav"
    sound = tone(RATE) / 8
    soundfile.write(path, sound[:, None] * np.arange(1, channels + 1), RATE, subtype="FLOAT")
    take = open_take(path, "")
    assert take.info.channels == channels
    np.testing.assert_allclose(whole(take), sound * (channels + 1) / 2, atol=1e-6)


@pytest.mark.parametrize("rate", [8_000, 22_050, 48_000, 96_000, 192_000])
def test_any_sample_rate_is_kept(tmp_path, rate):
    path = tmp_path / "take.wav"
    soundfile.write(path, tone(rate // 2, rate=rate), rate)
    take = open_take(path, "")
    assert (take.info.sample_rate_hz, take.info.duration_s) == (rate, 0.5)


def test_a_take_is_known_by_its_bytes_and_not_by_its_ending(tmp_path):
    path = tmp_path / "really_flac.wav"
    soundfile.write(path, tone(RATE), RATE, format="FLAC")
    assert open_take(path, "").info.duration_s == 1.0


def test_a_midi_take_has_notes_and_no_sound(tmp_path):
    path = tmp_path / "take.MID"
    path.write_bytes(
        bytes.fromhex(
            "4D 54 68 64  00 00 00 06  00 00  00 01  00 60"  # format 0, 1 track, 96 ticks a quarter
            "4D 54 72 6B  00 00 00 0C"  # 12 bytes follow
            "00 90 3C 64  60 80 3C 00  00 FF 2F 00"  # C4 for a quarter: 0.5 s at 120 a minute
        )
    )
    take = open_take(path, "content")
    assert isinstance(take, MidiTake)
    assert [(note.onset_s, note.offset_s, note.pitch_midi) for note in take.notes] == [(0.0, 0.5, 60.0)]
    assert (take.info.sample_rate_hz, take.info.channels, take.info.duration_s) == (None, None, 0.5)
    assert (take.info.file, take.info.content_hash) == ("take.MID", "content")


# Canonical WAV (RIFF): the size of the file at byte 4, that of the samples at byte 40, little-endian.
@pytest.mark.parametrize("size", [0xFFFFFFFF, 0x7FFFFFFF, 0x80000000])
def test_a_wav_that_was_streamed_is_read_to_the_end_of_the_file(wav, size):
    content = bytearray(wav.read_bytes())
    struct.pack_into("<I", content, 4, size)
    struct.pack_into("<I", content, 40, size)
    wav.write_bytes(content)
    take = open_take(wav, "")
    assert take.info.duration_s == 1.0
    assert len(whole(take)) == RATE


def test_a_wav_whose_recorder_never_finished_the_header_is_not_called_worthless(wav):
    content = bytearray(wav.read_bytes())
    struct.pack_into("<I", content, 40, 0)
    wav.write_bytes(content)
    with pytest.raises(TakeError, match="header was never finished; open it in the recording program"):
        open_take(wav, "")


def test_chunks_before_and_after_the_samples_do_not_matter(wav):
    content = wav.read_bytes()
    junk = b"JUNK" + struct.pack("<I", 3) + b"abc\0"  # odd length, padded
    wav.write_bytes(content[:36] + junk + content[36:] + b"LIST" + struct.pack("<I", 4) + b"adtl")
    assert len(whole(open_take(wav, ""))) == RATE
    wav.write_bytes(content[:36] + junk + content[36:-2])
    with pytest.raises(TakeError, match="is cut short"):
        open_take(wav, "")


@pytest.mark.parametrize(
    ("promised", "held"), [(88_200, 88_000), (88_200, 1_000), (88_200, 0), (88_202, 88_200)]
)
def test_a_wav_whose_header_promises_more_than_there_is_is_refused(wav, promised, held):
    content = bytearray(wav.read_bytes()[: 44 + held])
    struct.pack_into("<I", content, 40, promised)
    wav.write_bytes(content)
    with pytest.raises(TakeError, match=rf"promises {promised:,} bytes of sound and {held:,} are there"):
        open_take(wav, "")


def test_an_aiff_cut_short_is_refused(tmp_path):
    path = tmp_path / "take.aiff"
    soundfile.write(path, tone(RATE), RATE)
    path.write_bytes(path.read_bytes()[:-1000])
    with pytest.raises(TakeError, match="is cut short"):
        open_take(path, "")


@pytest.mark.parametrize("kept", [0.05, 0.3, 0.5, 0.9, 0.999])
def test_a_flac_cut_short_is_not_taken_for_whole(tmp_path, kept):
    path = tmp_path / "take.flac"
    noise = np.random.default_rng(3).uniform(-0.5, 0.5, 5 * RATE)
    soundfile.write(path, noise, RATE)
    content = path.read_bytes()
    path.write_bytes(content[: int(kept * len(content))])
    with pytest.raises(TakeError, match="breaks off") as refused:
        whole(open_take(path, ""))
    assert refused.value.remedy == "copy it again from the recorder"


def test_a_flac_whose_header_promises_more_than_there_is_is_not_taken_for_whole(tmp_path):
    # RFC 9639: the count of samples is the 36 bits that end at byte 25; here a second too many.
    path = tmp_path / "take.flac"
    soundfile.write(path, tone(RATE), RATE)
    content = bytearray(path.read_bytes())
    content[22:26] = (2 * RATE).to_bytes(4, "big")
    path.write_bytes(content)
    with pytest.raises(TakeError, match="breaks off"):
        whole(open_take(path, ""))


def test_a_flac_that_was_streamed_without_its_length_is_read(tmp_path):
    # RFC 9639: the count of samples is the 36 bits that end at byte 25; 0 means unknown.
    path = tmp_path / "take.flac"
    soundfile.write(path, tone(RATE), RATE)
    content = bytearray(path.read_bytes())
    assert int.from_bytes(content[21:26], "big") & 0xFFFFFFFFF == RATE
    content[21] &= 0xF0
    content[22:26] = bytes(4)
    path.write_bytes(content)
    take = open_take(path, "")
    assert take.info.duration_s == 1.0
    np.testing.assert_allclose(whole(take), tone(RATE), atol=2**-15)


@pytest.mark.parametrize(
    ("name", "container", "coding"), [("t.mp3", "MP3", None), ("t.ogg", "OGG", "VORBIS")]
)
def test_a_lossy_file_cut_short_ends_where_it_ends(tmp_path, name, container, coding):
    path = tmp_path / name
    noise = np.random.default_rng(4).uniform(-0.5, 0.5, 5 * RATE)
    soundfile.write(path, noise, RATE, format=container, subtype=coding)
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])
    assert 1.0 < len(whole(open_take(path, ""))) / RATE < 4.0


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("channels", [1, 2])
def test_samples_that_are_not_numbers_are_refused(tmp_path, value, channels):
    path = tmp_path / "take.wav"
    sound = np.tile(tone(RATE)[:, None], (1, channels))
    sound[RATE // 2, 0] = value
    soundfile.write(path, sound, RATE, subtype="FLOAT")
    with pytest.raises(TakeError, match="not numbers"):
        whole(open_take(path, ""))


def header_only(path: Path) -> None:
    soundfile.write(path, np.zeros(0), RATE)


def mp3_of_noise(path: Path) -> None:
    path.write_bytes(np.random.default_rng(1).integers(0, 128, 4096, dtype=np.uint8).tobytes())


@pytest.mark.parametrize(
    ("name", "make", "problem"),
    [
        ("take.wav", lambda path: path.write_bytes(b""), "is empty"),
        ("take.mid", lambda path: path.write_bytes(b""), "is empty"),
        ("take.wav", lambda path: path.write_text("Set list:\n1. Blues\n"), "is no sound file"),
        ("take.flac", lambda path: path.write_bytes(b"fLaC"), "is no sound file"),
        ("take.wav", lambda path: path.write_bytes(b"RIFF\x24\0\0\0WAVE"), "is no sound file"),
        ("take.mp3", mp3_of_noise, "is no sound file"),
        ("take.mid", lambda path: path.write_text("Set list"), "is not a Standard MIDI File"),
        ("take.wav", header_only, "holds no sound"),
        ("take.aiff", header_only, "holds no sound"),
        ("take.wav", lambda path: None, "is not there"),
        ("take.wav", lambda path: path.mkdir(), "is a folder"),
        ("take.mid", lambda path: path.mkdir(), "is a folder"),
    ],
)
def test_what_is_no_take_is_refused_in_one_line_with_the_way_out(tmp_path, name, make, problem):
    path = tmp_path / name
    make(path)
    with pytest.raises(TakeError, match=problem) as refused:
        whole(open_take(path, ""))
    assert refused.value.path == path
    assert refused.value.remedy
    message = str(refused.value)
    assert message.isprintable()
    assert "Error :" not in message and "<" not in message
