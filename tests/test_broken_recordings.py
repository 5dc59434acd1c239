"""Recordings that are damaged, locked, cut short or lie: one plain line each, quickly, in little memory."""

import resource
import struct
import subprocess
from collections.abc import Callable
from fractions import Fraction
from functools import lru_cache
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory

import av
import numpy as np
import pytest
import soundfile
from conftest import COMMAND
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from recording import RATE, tone, write_media, write_video
from sounding import RATE_HZ, line, sound_of

from batch.errors import TakeError
from batch.takes import AudioTake, open_take

CODINGS = {".m4a": "aac", ".mov": "pcm_s16le", ".webm": "libopus", ".wma": "wmav2", ".mka": "flac",
           ".opus": "libopus", ".mp3": "libmp3lame"}  # fmt: skip
WRITTEN = {".wav": "WAV", ".w64": "W64", ".rf64": "RF64", ".caf": "CAF", ".aiff": "AIFF", ".au": "AU",
           ".flac": "FLAC", ".ogg": "OGG"}  # fmt: skip


@lru_cache
def good(suffix: str) -> bytes:
    """Return a second and a half of noise as a file of this kind."""
    noise = np.random.default_rng(2).uniform(-0.5, 0.5, RATE * 3 // 2).astype(np.float32)
    with TemporaryDirectory() as folder:
        path = Path(folder) / f"good{suffix}"
        if suffix in CODINGS:
            write_media(path, [noise], CODINGS[suffix])
        else:
            soundfile.write(path, noise, RATE, format=WRITTEN[suffix])
        return path.read_bytes()


def heard(path: Path) -> float:
    """Read a take to its end; return its seconds."""
    take = open_take(path, "")
    assert isinstance(take, AudioTake)
    return sum(map(len, take.blocks())) / take.sound.rate_hz


def patched(content: bytes, mark: bytes, offset: int, value: bytes) -> bytes:
    """Put ``value`` so many bytes after the start of the first ``mark``."""
    at = content.index(mark) + offset
    return content[:at] + value + content[at + len(value) :]


def refused(path: Path, content: bytes) -> str:
    path.write_bytes(content)
    with pytest.raises(TakeError) as error:
        heard(path)
    message = str(error.value)
    assert message.isprintable() and "; " in message
    return message


@pytest.mark.parametrize("suffix", [".wav", ".w64", ".rf64", ".caf", ".aiff", ".au", ".wma"])
@pytest.mark.parametrize("kept", [0.5, 0.9, 0.99])
def test_a_recording_that_states_its_bytes_is_refused_when_it_is_cut_short(tmp_path, suffix, kept):
    content = good(suffix)
    said = refused(tmp_path / f"take{suffix}", content[: int(kept * len(content))])
    assert "is cut short: its header promises" in said


@pytest.mark.parametrize("suffix", [".webm", ".mka", ".flac"])
@pytest.mark.parametrize("kept", [0.3, 0.5, 0.7])
def test_a_recording_that_states_its_length_is_refused_when_it_is_cut_short(tmp_path, suffix, kept):
    content = good(suffix)
    assert "breaks off" in refused(tmp_path / f"take{suffix}", content[: int(kept * len(content))])


def front_indexed(folder: Path) -> bytes:
    noise = np.random.default_rng(2).uniform(-0.5, 0.5, RATE * 3 // 2).astype(np.float32)
    return write_media(folder / "front.m4a", [noise], "aac", movflags="+faststart").read_bytes()


@pytest.mark.parametrize("kept", [0.3, 0.5, 0.9])
def test_an_m4a_cut_short_after_its_index_is_refused(tmp_path, kept):
    content = front_indexed(tmp_path)
    assert "breaks off" in refused(tmp_path / "take.m4a", content[: int(kept * len(content))])


@pytest.mark.parametrize("suffix", [".m4a", ".mov"])
@pytest.mark.parametrize("kept", [0.02, 0.5, 0.9])
def test_a_recording_that_lost_its_index_says_so(tmp_path, suffix, kept):
    content = good(suffix)
    said = refused(tmp_path / f"take{suffix}", content[: int(kept * len(content))])
    assert "was never finished: its index (moov) is missing" in said


@pytest.mark.parametrize("suffix", [".opus", ".ogg", ".mp3"])
def test_a_lossy_recording_cut_short_ends_where_it_ends(tmp_path, suffix):
    content, path = good(suffix), tmp_path / f"take{suffix}"
    path.write_bytes(content[: int(0.9 * len(content))])
    assert 0.5 < heard(path) < 1.5


@pytest.mark.parametrize("suffix", sorted(CODINGS | WRITTEN))
@pytest.mark.parametrize("size", [0, 1, 4, 12, 40])
def test_next_to_nothing_is_refused(tmp_path, suffix, size):
    refused(tmp_path / f"take{suffix}", good(suffix)[:size])


@pytest.mark.parametrize("suffix", sorted(CODINGS | WRITTEN))
@pytest.mark.parametrize("content", [b"Set list: blues in F, then a waltz.\n" * 100, bytes(5000)])
def test_what_is_no_recording_is_refused(tmp_path, suffix, content):
    assert "is no sound file that can be read" in refused(tmp_path / f"take{suffix}", content)


def test_text_that_names_files_or_addresses_is_not_followed(tmp_path):
    (tmp_path / "other.wav").write_bytes(good(".wav"))
    for text in (
        "ffconcat version 1.0\nfile other.wav\n",
        "#EXTM3U\n#EXTINF:1,\nother.wav\n#EXT-X-ENDLIST\n",
    ):
        assert "is no sound file" in refused(tmp_path / "take.m4a", text.encode())


def test_damage_in_the_middle_is_not_played_over(tmp_path):
    content = good(".m4a")
    middle = len(content) // 2
    said = refused(tmp_path / "take.m4a", content[:middle] + b"\x55" * 400 + content[middle + 400 :])
    assert "is damaged at 0." in said


def test_sound_that_was_lost_is_silence_and_what_follows_keeps_its_time(tmp_path):
    sound = tone(3.0)
    path = tmp_path / "take.webm"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libopus", rate=RATE, layout="mono")
        frame = av.AudioFrame.from_ndarray(sound[None], format="flt", layout="mono")
        frame.rate, frame.pts, frame.time_base = RATE, 0, Fraction(1, RATE)
        packets = [*stream.encode(frame), *stream.encode(None)]
        # Opus packets of 20 ms: half a second is lost from 1 s on.
        container.mux(packets[:50] + packets[75:])
    take = open_take(path, "")
    assert isinstance(take, AudioTake)
    played = np.concatenate(list(take.blocks()))
    assert len(played) / RATE == pytest.approx(3.0, abs=0.03)
    assert np.abs(played[round(1.05 * RATE) : round(1.45 * RATE)]).max() == 0
    assert np.abs(played[round(2.0 * RATE) :]).max() > 0.4


@pytest.mark.parametrize("suffix", [".mp4", ".mov", ".mkv"])
def test_a_video_without_sound_says_so(tmp_path, suffix):
    path = write_video(tmp_path / f"take{suffix}")
    assert "holds video and no sound" in refused(path, path.read_bytes())


@pytest.mark.parametrize("suffix", [".m4a", ".mov"])
def test_a_track_without_sound_says_so(tmp_path, suffix):
    path = write_media(tmp_path / f"take{suffix}", [np.zeros(1, np.float32)], "aac")
    content = path.read_bytes()
    for table, offset in ((b"stts", 8), (b"stsz", 12), (b"stsc", 8), (b"stco", 8)):
        content = patched(content, table, offset, bytes(4))
    assert "no sound" in refused(path, content)


def encrypted(folder: Path) -> bytes:
    return write_media(
        folder / "locked.m4a", [tone(0.5)], "aac", encryption_scheme="cenc-aes-ctr",
        encryption_key="0123456789abcdef0123456789abcdef", encryption_kid="fedcba9876543210fedcba9876543210",
    ).read_bytes()  # fmt: skip


def asf_locked(folder: Path) -> bytes:
    # The padding or extension after the Header Object's 30 bytes gives way to a Content Encryption Object.
    lock = bytes.fromhex("FBB3112223BDD211B4B700A0C955FC6E") + struct.pack("<Q", 40) + bytes(16)
    content = good(".wma")
    return content[:30] + lock + content[30:]


def webm_locked(folder: Path) -> bytes:
    # ContentEncodings / ContentEncoding / ContentEncodingType = 1 (RFC 9559), before the first cluster.
    content = good(".webm")
    at = content.index(b"\x1f\x43\xb6\x75")
    return content[:at] + bytes.fromhex("6D80 87 6240 84 5033 81 01") + content[at:]


@pytest.mark.parametrize(
    "make",
    [
        encrypted,
        lambda folder: patched(good(".m4a"), b"mp4a", 0, b"drms"),
        lambda folder: patched(good(".m4a"), b"mp4a", 0, b"aavd"),
        asf_locked,
        webm_locked,
    ],
    ids=["cenc", "drms", "aavd", "asf", "webm"],
)
def test_a_protected_recording_says_so(tmp_path, make):
    assert "is protected against copying (DRM)" in refused(tmp_path / "take.m4a", make(tmp_path))


# Canonical WAV: channels at byte 22, rate at 24, bytes a frame at 32.
@pytest.mark.parametrize("rate", [0, 1, 2**31 - 1, 2**31, 2**32 - 1])
def test_an_absurd_rate_is_refused(tmp_path, rate):
    refused(tmp_path / "take.wav", patched(good(".wav"), b"RIFF", 24, struct.pack("<I", rate)))


@pytest.mark.parametrize("channels", [0, 129, 1024, 65_535])
def test_an_absurd_number_of_channels_is_refused(tmp_path, channels):
    content = patched(good(".wav"), b"RIFF", 22, struct.pack("<H", channels))
    refused(tmp_path / "take.wav", patched(content, b"RIFF", 32, struct.pack("<H", (2 * channels) & 0xFFFF)))


ABSURD: dict[str, Callable[[], bytes]] = {
    # RFC 9639: 36 bits of samples, to byte 25.
    "length.flac": lambda: patched(good(".flac"), b"fLaC", 22, b"\xff" * 4),
    "rate.caf": lambda: patched(good(".caf"), b"desc", 12, struct.pack(">d", 1e9)),
    "nan.caf": lambda: patched(good(".caf"), b"desc", 12, struct.pack(">d", float("nan"))),
    "rate.aiff": lambda: patched(good(".aiff"), b"COMM", 16, b"\x7f\xfe"),
    "length.rf64": lambda: patched(good(".rf64"), b"ds64", 16, struct.pack("<Q", 2**60)),
    "length.w64": lambda: patched(good(".w64"), b"data", 16, struct.pack("<Q", 2**60)),
    "length.au": lambda: patched(good(".au"), b".snd", 8, struct.pack(">I", 2**31 - 5)),
    "start.au": lambda: patched(good(".au"), b".snd", 4, struct.pack(">I", 2**31 - 5)),
    "length.webm": lambda: patched(good(".webm"), b"\x44\x89\x88", 3, struct.pack(">d", 1e12)),
    # ASF File Properties: play duration at 64; wave format after tag 0x0161: channels, rate.
    "length.wma": lambda: patched(
        good(".wma"), bytes.fromhex("A1DCAB8C47A9CF118EE400C00C205365"), 64, b"\xff" * 7 + b"\x7f"
    ),
    "channels.wma": lambda: patched(good(".wma"), b"\x61\x01\x01\x00", 2, b"\xff\xff"),
    "rate.wma": lambda: patched(good(".wma"), b"\x61\x01\x01\x00", 4, b"\xff\xff\xff\x7f"),
    "samples.m4a": lambda: patched(good(".m4a"), b"stsz", 12, b"\x7f\xff\xff\xff"),
    "size.m4a": lambda: patched(good(".m4a"), b"stsz", 8, b"\x7f\xff\xff\xff"),
    "length.mp3": lambda: patched(good(".mp3"), b"Xing" if b"Xing" in good(".mp3") else b"Info", 8,
                                  b"\x7f\xff\xff\xff"),
}  # fmt: skip


@pytest.mark.parametrize("name", ABSURD)
def test_an_absurd_header_is_refused(tmp_path, name):
    refused(tmp_path / name, ABSURD[name]())


def few_gibibytes() -> None:
    resource.setrlimit(resource.RLIMIT_AS, (6 << 30, 6 << 30))


def test_in_a_folder_of_broken_recordings_the_good_one_is_heard_in_little_memory(tmp_path):
    for name, make in ABSURD.items():
        (tmp_path / name).write_bytes(make())
    (tmp_path / "locked.m4a").write_bytes(patched(good(".m4a"), b"mp4a", 0, b"drms"))
    (tmp_path / "cut.mov").write_bytes(good(".mov")[:9000])
    write_video(tmp_path / "silent.mp4")
    write_media(tmp_path / "good.m4a", [sound_of(line()).astype(np.float32)], "aac", RATE_HZ)
    done = subprocess.run(
        [COMMAND, "run", tmp_path], capture_output=True, text=True, check=False, timeout=60,
        preexec_fn=few_gibibytes,
    )  # fmt: skip
    assert done.returncode == 1
    said = done.stderr.splitlines()
    assert sorted(line.split(": ")[0] for line in said) == sorted(
        [*ABSURD, "locked.m4a", "cut.mov", "silent.mp4"]
    )
    assert "good.m4a: 6 phrases" in done.stdout


def test_a_channel_that_is_not_there_fails_its_take_alone(takemill, tmp_path):
    (tmp_path / "takemill.toml").write_text("[sound]\nchannel = 2\n")
    sound = sound_of(line()).astype(np.float32)
    write_media(tmp_path / "stereo.m4a", [np.zeros_like(sound), sound], "aac", RATE_HZ)
    write_media(tmp_path / "mono.m4a", [sound], "aac", RATE_HZ)
    done = takemill("run", tmp_path)
    assert done.returncode == 1
    assert done.stderr.startswith("mono.m4a: has 1 channel, and sound.channel asks for 2; ")
    assert "stereo.m4a: 6 phrases" in done.stdout
    # Another channel is another hearing.
    (tmp_path / "takemill.toml").write_text("[sound]\nchannel = 'left'\n")
    assert "stereo.m4a: no phrases" in takemill("run", tmp_path).stdout


@pytest.mark.parametrize("written", ["'both'", "0", "-1", "true", "1.5", "[1]"])
def test_a_channel_that_cannot_be_is_a_mistake_in_the_settings(takemill, tmp_path, written):
    (tmp_path / "takemill.toml").write_text(f"[sound]\nchannel = {written}\n")
    (tmp_path / "take.wav").write_bytes(good(".wav"))
    done = takemill("run", tmp_path)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert f"sound.channel = {written}: allowed " in done.stderr


MOST_FRAMES = 1 << 23


@pytest.mark.parametrize("suffix", sorted(CODINGS | WRITTEN))
@settings(max_examples=25, deadline=4000, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    damage=st.lists(
        st.tuples(st.floats(0, 1), st.booleans(), st.binary(min_size=1, max_size=8)), min_size=1, max_size=4
    ),
    kept=st.sampled_from([1.0, 1.0, 0.5, 0.1]),
)
@example(damage=[(0.5, True, b"\xff" * 8)], kept=1.0)
def test_whatever_the_bytes_a_take_is_read_or_refused(tmp_path, suffix, damage, kept):
    content = bytearray(good(suffix))
    for place, in_header, value in damage:
        at = int(place * (min(len(content), 600) if in_header else len(content)))
        content[at : at + len(value)] = value
    path = tmp_path / f"take{suffix}"
    path.write_bytes(content[: int(kept * len(content))])
    try:
        take = open_take(path, "")
        assert isinstance(take, AudioTake)
        # A damaged rate or length may stretch what is there, never to what only a header claims.
        frames = sum(map(len, islice(take.blocks(), 200)))
    except TakeError as error:
        assert str(error).isprintable()
    else:
        assert frames < MOST_FRAMES
