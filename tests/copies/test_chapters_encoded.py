"""Recordings that hold no chapters, encoded with them: what ffmpeg decodes is what was recorded."""

import os
import resource
import signal
import time
import tracemalloc
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import mutagen
import numpy as np
import pytest
import soundfile
from chaptering import RATE_HZ, analysed, copied, needs_ffmpeg, noise, probed, samples_hash
from recording import clicks, tone, write_media
from sounding import write_midi_take
from survival.surviving import start

from batch.errors import TakeError
from batch.names import MADE_BY
from exporters.chapters.chapter import Division
from exporters.chapters.takes import chapters_of
from exporters.copies import chapters_encoding as encoding


def recorded(path: Path, container: str, coding: str, channels: int = 2, rate_hz: int = RATE_HZ) -> Path:
    """Write two seconds of noise."""
    soundfile.write(path, noise(2.0, channels, rate_hz), rate_hz, format=container, subtype=coding)
    return path


WHOLE = [("a.wav", "PCM_16", 16), ("a.wav", "PCM_24", 24), ("a.wav", "PCM_U8", 16), ("a.wav", "ALAW", 16),
         ("a.aiff", "PCM_24", 24), ("a.aiff", "PCM_S8", 16), ("a.caf", "PCM_16", 16), ("a.w64", "PCM_24", 24),
         ("a.rf64", "PCM_24", 24), ("a.au", "PCM_16", 16)]  # fmt: skip
"""File names, codings, and the bits that FLAC gives them."""


@needs_ffmpeg
@pytest.mark.parametrize("channels", [1, 2, 8])
@pytest.mark.parametrize(("name", "coding", "bits"), WHOLE)
def test_flac_holds_whole_numbers_bit_for_bit(tmp_path, name, coding, bits, channels):
    path = recorded(tmp_path / name, Path(name).suffix[1:].upper(), coding, channels)
    copy = copied(path, analysed(3, 2.0), encode="flac")
    assert samples_hash(copy) == samples_hash(path)
    assert mutagen.File(copy).info.bits_per_sample == bits


@needs_ffmpeg
@pytest.mark.parametrize("coding", ["PCM_16", "PCM_24"])
def test_the_loudest_and_softest_numbers_are_kept(tmp_path, coding):
    bits = int(coding[-2:])
    edges = np.array(
        [-(2**31), 2**31 - 2 ** (32 - bits), 0, 2 ** (32 - bits), -(2 ** (32 - bits))] * 20, np.int32
    )
    path = tmp_path / "a.wav"
    soundfile.write(path, edges, RATE_HZ, subtype=coding)
    copy = copied(path, analysed(0), encode="flac")
    np.testing.assert_array_equal(soundfile.read(copy, dtype="int32")[0], edges)
    assert samples_hash(copy) == samples_hash(path)


@pytest.mark.parametrize("coding", ["FLOAT", "DOUBLE", "PCM_32"])
def test_finer_samples_are_rounded_to_24_bits(tmp_path, coding):
    path = recorded(tmp_path / "a.wav", "WAV", coding)
    copy = copied(path, analysed(3, 2.0), encode="flac")
    assert mutagen.File(copy).info.bits_per_sample == 24
    # Half a step, and what is lost where 32-bit numbers are read as floats.
    np.testing.assert_allclose(soundfile.read(copy)[0], soundfile.read(path)[0], rtol=0, atol=2**-23)


def test_what_stands_over_full_scale_is_cut_off_there(tmp_path):
    path = tmp_path / "a.wav"
    soundfile.write(path, np.array([1.5, -3.0, 0.25, 3e38] * 100, np.float32), RATE_HZ, subtype="FLOAT")
    heard, _ = soundfile.read(copied(path, analysed(0), encode="flac"))
    np.testing.assert_array_equal(heard[:4], [1 - 2**-23, -1.0, 0.25, 1 - 2**-23])


@needs_ffmpeg
@pytest.mark.parametrize("encode", ["flac", "ogg"])
@pytest.mark.parametrize("count", [0, 1, 5, 700])
def test_ffprobe_reads_each_chapter_where_its_phrase_starts(tmp_path, encode, count):
    path = recorded(tmp_path / "a.wav", "WAV", "PCM_16")
    settings, analysis = Division("phrase"), analysed(count, 2.0)
    found = probed(copied(path, analysis, settings, encode))
    wanted = chapters_of(analysis, settings)
    assert [title for _, _, title in found] == [each.title for each in wanted]
    for (start_s, _, _), chapter in zip(found, wanted, strict=True):
        assert start_s == pytest.approx(chapter.start_s, abs=0.0005 + 1e-9)


@pytest.mark.parametrize("encode", ["flac", "ogg"])
@pytest.mark.parametrize(
    ("name", "coding"),
    [("a.m4a", "aac"), ("a.m4a", "alac"), ("a.mov", "pcm_s16le"), ("a.webm", "libopus"), ("a.wma", "wmav2"),
     ("a.mp4", "aac"), ("a.mkv", "flac")],
)  # fmt: skip
def test_a_click_in_a_phones_recording_stands_where_its_chapter_does(tmp_path, name, coding, encode):
    path = write_media(tmp_path / name, [clicks(3.0, (0.5, 2.25))] * 2, coding)
    copy = copied(path, analysed(3, 3.0), encode=encode)
    heard, rate_hz = soundfile.read(copy, always_2d=True)
    assert heard.shape[1] == 2
    assert len(heard) / rate_hz == pytest.approx(3.0, abs=0.03)
    for at_s in (0.5, 2.25):
        first = int(np.argmax(np.abs(heard[round((at_s - 0.25) * rate_hz) :, 0]) > 0.4))
        assert first / rate_hz - 0.25 == pytest.approx(0, abs=0.005)


def test_16_bits_of_a_phones_recording_stay_16(tmp_path):
    path = write_media(tmp_path / "a.mov", [tone(1.0)], "pcm_s16le")
    copy = copied(path, analysed(1, 1.0), encode="flac")
    assert mutagen.File(copy).info.bits_per_sample == 16


@pytest.mark.parametrize("encode", ["flac", "ogg"])
def test_a_copy_says_whose_the_recording_is(tmp_path, encode):
    path = recorded(tmp_path / "a.wav", "WAV", "PCM_16")
    copy = copied(path, analysed(3, 2.0, title="Łódź"), encode=encode)
    tags = mutagen.File(copy).tags
    assert tags["title"] == ["Łódź"]
    assert tags["generator"] == [MADE_BY]
    assert "artist" not in tags
    assert MADE_BY.encode() in copy.read_bytes()[: 1 << 16]


@pytest.mark.parametrize("channels", [9, 24])
def test_more_channels_than_flac_holds_are_refused_and_ogg_has_them(tmp_path, channels):
    path = recorded(tmp_path / "a.wav", "WAV", "PCM_16", channels)
    with pytest.raises(TakeError, match=f'has {channels} channels, and FLAC holds 8; set encode to "ogg"'):
        copied(path, encode="flac")
    assert soundfile.info(copied(path, encode="ogg")).channels == channels


@pytest.mark.parametrize("rate_hz", [8_000, 44_100, 96_000, 192_000, 384_000])
def test_a_rate_that_a_format_does_not_know_is_refused_in_a_line(tmp_path, rate_hz):
    path = recorded(tmp_path / "a.wav", "WAV", "PCM_16", 1, rate_hz)
    assert soundfile.info(copied(path, encode="flac")).samplerate == rate_hz
    if rate_hz <= 192_000:
        assert soundfile.info(copied(path, encode="ogg")).samplerate == rate_hz
    else:
        with pytest.raises(
            TakeError, match="has 384,000 samples a second, and Ogg Vorbis holds 200,000; set"
        ):
            copied(path, encode="ogg")


@pytest.mark.parametrize("encode", ["flac", "ogg"])
def test_samples_that_are_no_numbers_are_refused(tmp_path, encode):
    path = tmp_path / "a.wav"
    soundfile.write(path, np.full(1000, np.nan, np.float32), RATE_HZ, subtype="FLOAT")
    with pytest.raises(TakeError, match="samples that are not numbers"):
        copied(path, encode=encode)


def test_a_file_without_sound_is_refused(tmp_path):
    path = write_midi_take(tmp_path / "a.mid").rename(tmp_path / "a.wav")
    with pytest.raises(TakeError, match="is no sound file"):
        copied(path, encode="flac")


@contextmanager
def room_for(size: int) -> Iterator[None]:
    """Let no file grow over ``size`` bytes, which is as when its disk is full (setrlimit, POSIX.1)."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def whole_size(path: Path, encode: str) -> int:
    """Return how large an encoding is, before its chapters."""
    with path.with_suffix(".whole").open("w+b") as stream:
        encoding.encode(path, encode, stream)
        return os.fstat(stream.fileno()).st_size


# In the midst of it; at its very start; so that the last write alone has no room.
@pytest.mark.parametrize("short", [100_000, None, 10, 1])
@pytest.mark.parametrize("encode", ["flac", "ogg"])
def test_a_full_disk_is_told_as_such_and_nothing_else_is_printed(tmp_path, encode, short, capfd):
    path = tmp_path / "a.wav"
    soundfile.write(path, noise(12.0), RATE_HZ)
    whole = whole_size(path, encode)
    with (
        (tmp_path / "copy").open("w+b") as copy,
        room_for(5_000 if short is None else whole - short),
        pytest.raises(OSError, match="File too large"),
    ):
        encoding.encode(path, encode, copy)
    assert capfd.readouterr() == ("", "")


def size_so_far(path: Path) -> int:
    """Return the size of a file that may be done and renamed meanwhile."""
    try:
        return path.stat().st_size
    except FileNotFoundError:
        return 0


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize("encode", ["flac", "ogg"])
def test_what_is_told_to_end_ends_in_the_midst_of_a_copy(takemill, tmp_path, encode, how):
    soundfile.write(tmp_path / "a.wav", noise(240.0, 2, 22_050), 22_050)
    (tmp_path / "takemill.toml").write_text(f'[chapters]\nencode = "{encode}"\n')
    assert takemill("run", tmp_path).returncode == 0
    run = start("run", tmp_path, "--export", "chapters")
    out = tmp_path / "markers"
    while max(map(size_so_far, out.glob(".takemill-*")), default=0) < 100_000:
        assert run.poll() is None, "it is done already"
        time.sleep(0.005)
    run.send_signal(how)
    said, _ = run.communicate(timeout=60)
    assert run.returncode == 130
    assert "Traceback" not in said and "ignored" not in said
    assert not [*out.glob(".takemill-*"), *out.glob("*.chapters.*")]


@pytest.mark.parametrize("encode", ["flac", "ogg"])
def test_memory_does_not_grow_with_the_recording(tmp_path, encode):
    def peak(seconds: float) -> int:
        path = tmp_path / "a.wav"
        with soundfile.SoundFile(path, "w", RATE_HZ, 2, "PCM_16") as file:
            for _ in range(round(seconds)):
                file.write(noise(1.0))
        tracemalloc.start()
        copied(path, analysed(5, seconds), encode=encode)
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        return most

    copied(recorded(tmp_path / "b.wav", "WAV", "PCM_16"), encode=encode)
    assert peak(60) < peak(12) + 4_000_000  # the other 48 s are 18 MB as floats
