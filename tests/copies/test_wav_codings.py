"""The sound of a copy in many codings: bit for bit, and as libsndfile, SoX and FFmpeg decode it."""

import hashlib
import io
import json
import shutil
import struct
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile
from recording import tone, write_media
from waves import NAMES, RATE, chunk, chunks_of, copied, copied_file, fmt, form, of_spans

from batch.errors import TakeError

BY_SAMPLE = ["PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE", "ULAW", "ALAW"]
BY_BLOCK = ["MS_ADPCM", "IMA_ADPCM", "GSM610"]
POINT = struct.Struct("<II4sIII")


def recorded(path: Path, subtype: str, kind: str = "WAV") -> Path:
    """Write five seconds that are nowhere alike, in stereo where the coding has it."""
    sound = tone(5.0) * np.linspace(0.1, 1.0, 5 * RATE, dtype=np.float32)
    if subtype != "GSM610":
        sound = np.stack([sound, -0.5 * sound], axis=1)
    soundfile.write(path, sound, RATE, subtype=subtype, format=kind)
    return path


def points_of(content: bytes) -> list[tuple[int, int, bytes, int, int, int]]:
    return list(POINT.iter_unpack(dict(chunks_of(content))[b"cue "][4:]))


def program(name: str) -> str:
    found = shutil.which(name)
    if found is None:
        pytest.skip(f"{name} is not installed (apt-get install sox ffmpeg)")
    return found


@pytest.mark.parametrize("kind", ["WAV", "WAVEX"])
@pytest.mark.parametrize("subtype", BY_SAMPLE)
def test_the_sound_is_the_same_bit_for_bit(tmp_path, subtype, kind):
    path = recorded(tmp_path / "take.wav", subtype, kind)
    copy = copied_file(path)
    sounds = [dict(chunks_of(each.read_bytes()))[b"data"] for each in (path, copy)]
    assert hashlib.sha256(sounds[0]).digest() == hashlib.sha256(sounds[1]).digest()
    before, after = soundfile.info(path), soundfile.info(copy)
    assert (after.format, after.subtype, after.frames) == (kind, subtype, 5 * RATE)
    assert (before.format, before.subtype, before.frames) == (kind, subtype, 5 * RATE)
    assert np.array_equal(soundfile.read(path)[0], soundfile.read(copy)[0])
    # "Within PCM data": dwBlockStart is zero, dwSampleOffset counts from the start of the data.
    places = [(1, 24_000, b"data", 0, 0, 24_000), (2, 96_000, b"data", 0, 0, 96_000)]
    assert points_of(copy.read_bytes()) == places


@pytest.mark.parametrize("subtype", ["MS_ADPCM", "IMA_ADPCM"])
def test_in_blocks_a_point_says_where_decoding_can_begin_and_how_far_it_is_from_there(tmp_path, subtype):
    # libsndfile decodes the sound from dwBlockStart on as if it were the whole: dwSampleOffset samples
    # later comes what comes at dwPosition in the recording.
    path = recorded(tmp_path / "take.wav", subtype)
    whole, _ = soundfile.read(path, always_2d=True)
    found = dict(chunks_of(content := copied(path)))
    points = points_of(content)
    assert [position for _, position, *_ in points] == [24_000, 96_000]
    for _, position, _, _, block_start, offset in points:
        assert block_start > 0
        rest = form([(b"fmt ", found[b"fmt "]), (b"data", found[b"data"][block_start:])])
        heard, _ = soundfile.read(io.BytesIO(rest), always_2d=True)
        assert np.array_equal(heard[offset : offset + 500], whole[position : position + 500])


def test_blocks_of_gsm_have_65_bytes_and_320_samples(tmp_path):
    # "New Multimedia Data Types and Data Techniques" 3.0, GSM610WAVEFORMAT. 24,100 = 75 * 320 + 100.
    path = recorded(tmp_path / "take.wav", "GSM610")
    (point,) = points_of(copied(path, of_spans([(24_100 / RATE, 1.0)])))
    assert point == (1, 24_100, b"data", 0, 75 * 65, 100)


@pytest.mark.parametrize("subtype", [*BY_SAMPLE, *BY_BLOCK])
def test_sox_and_ffmpeg_decode_the_same_samples(tmp_path, subtype):
    sox, ffmpeg = program("sox"), program("ffmpeg")
    path = recorded(tmp_path / "take.wav", subtype)
    copy = copied_file(path)
    for command in (
        lambda file: [sox, "-D", file, "-t", "raw", "-b", "32", "-e", "signed-integer", "-"],
        lambda file: [ffmpeg, "-v", "error", "-i", file, "-f", "f64le", "-"],
    ):
        before, after = (
            subprocess.run(command(file), capture_output=True, check=True).stdout for file in (path, copy)
        )
        assert len(before) > 0
        assert hashlib.sha256(before).digest() == hashlib.sha256(after).digest()


def test_ffprobe_shows_cue_points_as_chapters(tmp_path):
    copy = copied_file(recorded(tmp_path / "take.wav", "PCM_24"))
    command = [program("ffprobe"), "-v", "error", "-show_chapters", "-of", "json", copy]
    found = json.loads(subprocess.run(command, capture_output=True, check=True).stdout)["chapters"]
    assert [(float(each["start_time"]), each["tags"]["title"]) for each in found] == [
        (0.5, NAMES[0]),
        (2.0, NAMES[1]),
    ]


def test_sox_opens_the_copy_without_a_complaint(tmp_path):
    # SoX 14.4 shows no cue points.
    copy = copied_file(recorded(tmp_path / "take.wav", "PCM_16"))
    done = subprocess.run([program("sox"), "--i", copy], capture_output=True, text=True, check=True)
    assert done.stderr == ""
    assert f"{5 * RATE} samples" in done.stdout


def test_mpeg_in_a_wav_is_refused_since_its_blocks_are_of_no_one_size(tmp_path):
    path = write_media(tmp_path / "take.wav", [tone(2.0)], "libmp3lame")
    with pytest.raises(
        TakeError, match=r"format tag 0x0055\) in which cue points cannot say.*export it as plain"
    ):
        copied(path)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "states its format in 0 bytes"),
        (fmt(0), "states 0 Hz"),
        (fmt(block=0), "blocks of 0 bytes"),
        (fmt(tag=2) + bytes(4), "0 samples"),
        (fmt(tag=0x9999), "format tag 0x9999"),
        (fmt(tag=0xFFFE) + bytes(24), "format tag 0x0000"),
        (fmt() + bytes(5000), "more than any program writes"),
    ],
)
def test_a_format_that_is_nonsense_is_one_line(tmp_path, content, said):
    path = tmp_path / "take.wav"
    path.write_bytes(form([(b"fmt ", content), (b"data", bytes(100))]))
    with pytest.raises(TakeError, match=said):
        copied(path, of_spans())


def test_a_block_too_far_for_32_bits_is_refused(tmp_path):
    # Blocks of 65,535 bytes for 2 samples: sample 192,000 would lie at byte 6,291,360,000.
    path = tmp_path / "take.wav"
    content = fmt(tag=2, block=65_535) + struct.pack("<HH", 32, 2)
    path.write_bytes(
        b"RIFF" + struct.pack("<I", 100) + b"WAVE" + chunk(b"fmt ", content) + chunk(b"data", bytes(2))
    )
    with pytest.raises(TakeError, match="lasts longer than cue points reach"):
        copied(path, of_spans([(4.0, 5.0)]))
