"""Every kind of recording: soundfile or PyAV writes it, what went in must come out, at its time."""

import av
import mutagen
import numpy as np
import pytest
import soundfile
from recording import RATE, clicks, tone, write_media

from batch.kinds import AUDIO_SUFFIXES, is_take_name
from batch.takes import AudioTake, open_take

FILES = [
    ("take.wav", "WAV", "PCM_U8", 2**-7),
    ("take.wav", "WAV", "PCM_32", 2**-23),
    ("take.wav", "WAV", "DOUBLE", 2**-24),
    ("take.wav", "WAV", "ULAW", 2**-5),
    ("take.wav", "WAV", "MS_ADPCM", 2**-4),
    ("take.rf64", "RF64", "PCM_24", 2**-23),
    ("take.w64", "W64", "PCM_24", 2**-23),
    ("take.caf", "CAF", "PCM_16", 2**-15),
    ("take.caf", "CAF", "ALAC_24", 2**-23),
    ("take.caf", "CAF", "DOUBLE", 2**-24),
    ("take.aifc", "AIFF", "DOUBLE", 2**-24),
    ("take.aiff", "AIFF", "PCM_S8", 2**-7),
    ("take.au", "AU", "PCM_16", 2**-15),
    ("take.flac", "FLAC", "PCM_24", 2**-23),
]
"""File name, container, coding, and the largest error of a sample."""

MEDIA = [
    ("take.m4a", "aac"),
    ("take.m4a", "alac"),
    ("take.mp4", "aac"),
    ("take.mov", "aac"),
    ("take.mov", "pcm_s16le"),
    ("take.mov", "pcm_u8"),
    ("take.webm", "libopus"),
    ("take.mkv", "flac"),
    ("take.opus", "libopus"),
    ("take.wma", "wmav2"),
    ("take.3gp", "aac"),
    ("take.mp3", "libmp3lame"),
]


def whole(take: object) -> np.ndarray:
    assert isinstance(take, AudioTake)
    return np.concatenate(list(take.blocks()))


def first_loud_s(sound: np.ndarray, rate: int, after_s: float = 0.0) -> float:
    """Return when a pulse of 0.8 starts: the first sample of half its height."""
    first = round(after_s * rate)
    return (first + int(np.argmax(np.abs(sound[first:]) > 0.4))) / rate


@pytest.mark.parametrize(("name", "container", "coding", "step"), FILES)
def test_what_libsndfile_writes_is_read(tmp_path, name, container, coding, step):
    path, sound = tmp_path / name, tone(0.5)
    soundfile.write(path, sound, RATE, format=container, subtype=coding)
    take = open_take(path, "")
    assert (take.info.sample_rate_hz, take.info.channels) == (RATE, 1)
    assert take.info.duration_s == pytest.approx(0.5, abs=0.02)  # ADPCM comes in whole blocks
    np.testing.assert_allclose(whole(take)[: len(sound)], sound, atol=step)


@pytest.mark.parametrize(("name", "coding"), MEDIA)
@pytest.mark.parametrize("count", [1, 2])
def test_a_click_in_a_recording_of_a_phone_stands_where_it_was_played(tmp_path, name, coding, count):
    sound = clicks(3.0, (0.5, 2.25))
    path = write_media(tmp_path / name, [sound] * count, coding)
    take = open_take(path, "")
    assert (take.info.sample_rate_hz, take.info.channels) == (RATE, count)
    assert take.info.duration_s == pytest.approx(3.0, abs=0.03)
    heard = whole(take)
    assert len(heard) / RATE == pytest.approx(take.info.duration_s, abs=0.03)
    assert first_loud_s(heard, RATE) == pytest.approx(0.5, abs=0.005)
    assert first_loud_s(heard, RATE, after_s=1.0) == pytest.approx(2.25, abs=0.005)


@pytest.mark.parametrize(("name", "coding"), [case for case in MEDIA if case[1] != "pcm_u8"])
def test_a_tone_in_a_recording_of_a_phone_keeps_its_level(tmp_path, name, coding):
    sound = tone(2.0)
    heard = whole(open_take(write_media(tmp_path / name, [sound, sound], coding), ""))
    assert np.abs(heard[RATE // 2 : RATE]).max() == pytest.approx(0.5, abs=0.03)  # LAME plays it safe by 5 %


@pytest.mark.parametrize("rate", [8_000, 22_050, 44_100, 88_200, 384_000])
@pytest.mark.parametrize("container", ["WAV", "AIFF", "CAF"])
def test_any_rate_of_a_recorder_is_kept(tmp_path, rate, container):
    path = tmp_path / f"take.{container.lower()}"
    soundfile.write(path, tone(0.5, rate=rate), rate, format=container)
    take = open_take(path, "")
    assert (take.info.sample_rate_hz, take.info.duration_s) == (rate, 0.5)
    assert len(whole(take)) == rate // 2


@pytest.mark.parametrize("channels", [2, 8, 24, 64])
def test_up_to_64_channels_are_mixed(tmp_path, channels):
    path, sound = tmp_path / "take.wav", tone(1.0)
    soundfile.write(path, np.tile(sound[:, None], (1, channels)), RATE)
    take = open_take(path, "")
    assert take.info.channels == channels
    np.testing.assert_allclose(whole(take), sound, atol=2**-14)


@pytest.mark.parametrize(
    ("written", "coding", "name"),
    [("a.mp3", "libmp3lame", "take.wav"), ("a.m4a", "aac", "take.wav"), ("a.wma", "wmav2", "take.mp3"),
     ("a.webm", "libopus", "take.m4a"), ("a.mp3", "libmp3lame", "take.m4a")],
)  # fmt: skip
def test_a_wrong_ending_does_not_matter(tmp_path, written, coding, name):
    path = write_media(tmp_path / written, [clicks(2.0, (1.0,))], coding).rename(tmp_path / name)
    assert first_loud_s(whole(open_take(path, "")), RATE) == pytest.approx(1.0, abs=0.005)


def test_a_recording_program_that_streams_to_webm_leaves_the_length_out_and_it_is_counted(tmp_path):
    path = write_media(tmp_path / "take.webm", [tone(3.0)], "libopus", live="1")
    assert open_take(path, "").info.duration_s == pytest.approx(3.0, abs=0.03)


def test_of_several_sound_tracks_the_first_is_heard_and_it_is_said(tmp_path):

    path = tmp_path / "take.mp4"
    with av.open(str(path), "w") as container:
        streams = [container.add_stream("aac", rate=RATE, layout="mono") for _ in range(2)]
        for stream, hz in zip(streams, (440.0, 880.0), strict=True):
            frame = av.AudioFrame.from_ndarray(tone(1.0, hz)[None], format="fltp", layout="mono")
            frame.rate = RATE
            container.mux([*stream.encode(frame), *stream.encode(None)])
    take = open_take(path, "")
    assert isinstance(take, AudioTake)
    assert take.sound.remarks == ("holds 2 sound tracks: number 1 was heard",)
    middle = whole(take)[RATE // 4 : 3 * RATE // 4]
    assert np.count_nonzero(np.diff(np.signbit(middle))) == pytest.approx(440, abs=4)  # two a period


def test_title_and_date_of_an_m4a_are_read(tmp_path):

    path = write_media(tmp_path / "take.m4a", [tone(0.5)], "aac")
    tags = mutagen.File(path)
    tags["\xa9nam"], tags["\xa9day"], tags["tmpo"] = "Blues", "2024-05-01", [132]
    tags.save()
    take = open_take(path, "")
    assert (take.info.title, take.info.recorded_at, take.tempo_bpm) == ("Blues", "2024-05-01", 132.0)


@pytest.mark.parametrize("suffix", sorted(AUDIO_SUFFIXES))
def test_every_kind_is_seen_in_a_folder(suffix):
    assert is_take_name(f"solo{suffix}") and is_take_name(f"SOLO{suffix.upper()}")
