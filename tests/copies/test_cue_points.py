"""Cue points in a copy of a WAV: bytes against the standard, and as wavinfo and libsndfile read them."""

import io
import random
import struct
import subprocess
import sys
from dataclasses import replace
from itertools import pairwise

import pytest
import soundfile
from building import analysis_of, phrases_at, take_info
from recording import tone
from waves import (
    MADE,
    NAMES,
    RATE,
    SPANS,
    Seen,
    by_libsndfile,
    by_wavinfo,
    chunks_of,
    copied,
    copied_file,
    fmt,
    form,
    of_spans,
)

from batch.errors import TakeError, UnfitError
from batch.model import Device, Moment, MomentKind, PhraseTension, Tension
from batch.names import MADE_BY
from exporters.copies.cue_points import CuePoints


def test_the_bytes_are_those_of_the_standard(tmp_path):
    # Multimedia Programming Interface and Data Specifications 1.0, ch. 3: "Cue-Points Chunk", "Examples of
    # File Position Values" (within PCM data), "Associated Data Chunk". A phrase from 0.5 s to 1.5 s at
    # 8,000 Hz: sample 4,000 = 0x0FA0, 8,000 = 0x1F40 long.
    path = tmp_path / "take.wav"
    path.write_bytes(form([(b"fmt ", fmt(8000)), (b"data", bytes(32_000))]))
    content = copied(path, of_spans([(0.5, 1.5)]))
    added = bytes.fromhex(
        "63 75 65 20  1C 00 00 00"  # "cue ", 28 bytes follow
        "01 00 00 00"  # dwCuePoints: 1
        "01 00 00 00"  # dwName: 1
        "A0 0F 00 00"  # dwPosition: sequential sample number within the play order
        "64 61 74 61"  # fccChunk: "data"
        "00 00 00 00"  # dwChunkStart: zero
        "00 00 00 00"  # dwBlockStart: zero
        "A0 0F 00 00"  # dwSampleOffset: from the start of the data chunk
        "4C 49 53 54  4A 00 00 00"  # "LIST", 74 bytes follow
        "61 64 74 6C"  # "adtl"
        "6C 61 62 6C  21 00 00 00"  # "labl", 33 bytes follow
        "01 00 00 00"  # dwName: 1
        "30 31 20 6C 6F 6E 67 20 64 65 6E 73 65 20"  # "01 long dense "
        "61 67 61 69 6E 73 74 2D 67 72 6F 6F 76 65 00"  # "against-groove", null-terminated
        "00"  # pad: 33 is odd
        "6C 74 78 74  14 00 00 00"  # "ltxt", 20 bytes follow
        "01 00 00 00"  # dwName: 1
        "40 1F 00 00"  # dwSampleLength
        "72 67 6E 20"  # dwPurpose: "rgn "
        "00 00 00 00 00 00 00 00"  # wCountry, wLanguage, wDialect, wCodePage: none indicated
        "4A 55 4E 4B  10 00 00 00"  # "JUNK", 16 bytes follow
        "4D 61 64 65 20 62 79 20 74 61 6B 65 6D 69 6C 6C"  # "Made by takemill"
    )
    recorded = path.read_bytes()
    assert content == b"RIFF" + struct.pack("<I", len(recorded) + len(added) - 8) + recorded[8:] + added


def test_both_readers_find_every_phrase(tmp_path):
    soundfile.write(tmp_path / "take.wav", tone(5.0), RATE)
    copy = copied_file(tmp_path / "take.wav")
    # 0.5 and 2 s at 48,000 Hz; the phrases last 1 and 2 s.
    regions = [Seen(1, 24_000, NAMES[0], 48_000), Seen(2, 96_000, NAMES[1], 96_000)]
    assert by_wavinfo(copy) == regions
    assert by_libsndfile(copy) == [replace(seen, length=None) for seen in regions]


def test_the_settings_say_which_labels_a_point_has(tmp_path):
    soundfile.write(tmp_path / "take.wav", tone(5.0), RATE)
    (phrase,) = phrases_at([(0.5, 1.5)])
    phrase = replace(phrase, evidence=replace(phrase.evidence, devices=(Device("off-beats", 0.5, 1.0),)))
    for exporter, name in (
        (CuePoints(labels=("density",)), "01 dense"),
        (CuePoints(labels=("groove",), devices=True), "01 off-beats"),
    ):
        copy = copied_file(tmp_path / "take.wav", analysis_of((phrase,)), exporter)
        assert [seen.name for seen in by_wavinfo(copy)] == [name]


def test_moments_are_points_without_a_length_if_asked_for(tmp_path):
    soundfile.write(tmp_path / "take.wav", tone(5.0), RATE)
    moments = (Moment(MomentKind.BUILD, 0.5, 2.0, 0, 1), Moment(MomentKind.PEAK, 2.25, 2.25, 1, None))
    tension = Tension((0.0, 5.0), (0.0, 1.0), (PhraseTension(0.1), PhraseTension(0.9)), moments)
    analysis = replace(of_spans(), tension=tension)
    assert [seen.name for seen in by_wavinfo(copied_file(tmp_path / "take.wav", analysis))] == NAMES
    found = by_wavinfo(copied_file(tmp_path / "take.wav", analysis, CuePoints(moments=True)))
    assert [(seen.at, seen.name, seen.length) for seen in found] == [
        (24_000, NAMES[0], 48_000),
        (24_000, "builds 01-02", None),
        (96_000, NAMES[1], 96_000),
        (108_000, "peak 02", None),
    ]


def test_a_take_without_phrases_has_a_table_without_points(tmp_path):
    soundfile.write(tmp_path / "take.wav", tone(1.0), RATE)
    copy = copied_file(tmp_path / "take.wav", of_spans([]))
    assert by_wavinfo(copy) == by_libsndfile(copy) == []
    assert chunks_of(copy.read_bytes())[2:] == [(b"cue ", bytes(4)), (b"LIST", b"adtl"), MADE]


def test_the_same_recording_gives_the_same_copy_which_bears_our_mark_at_its_end(tmp_path):
    soundfile.write(tmp_path / "take.wav", tone(5.0), RATE)
    content = copied(tmp_path / "take.wav")
    assert content == copied(tmp_path / "take.wav")
    assert MADE_BY.encode("ascii") in content[-4096:]


@pytest.mark.parametrize("rate", [11_025, 44_100, 48_000, 96_000])
def test_a_position_is_the_nearest_sample_over_hours(tmp_path, rate):
    # Nearest by definition: at most half a sample from the time in the analysis.
    path = tmp_path / "take.wav"
    path.write_bytes(form([(b"fmt ", fmt(rate)), (b"data", bytes(2))]))
    chance = random.Random(rate)
    bounds = sorted(round(chance.uniform(0, 3 * 3600), 6) for _ in range(2000))
    spans = list(pairwise(bounds))[::2]
    found = by_wavinfo(copied_file(path, of_spans(spans)))
    assert len(found) == 1000
    for (start, end), seen in zip(spans, found, strict=True):
        assert abs(seen.at - start * rate) <= 0.5
        assert seen.length is not None
        assert abs(seen.at + seen.length - end * rate) <= 0.5


def test_libsndfile_takes_a_long_take_with_many_phrases(tmp_path):
    # As many points as libsndfile 1.2 reads: of 2,501 it finds none, and labels only in 64 KiB of header.
    path = tmp_path / "take.wav"
    path.write_bytes(form([(b"fmt ", fmt()), (b"data", bytes(96_000))]))
    spans = [(i * 4.0, i * 4.0 + 2.5) for i in range(2500)]
    found = by_libsndfile(copied_file(path, of_spans(spans)))
    assert [seen.at for seen in found] == [i * 192_000 for i in range(2500)]
    found = by_libsndfile(copied_file(path, of_spans(spans[:900])))
    assert [seen.name for seen in found] == [f"{i:03} long dense against-groove" for i in range(1, 901)]


def test_the_last_sample_that_cue_points_reach_is_carried_and_the_next_refused(tmp_path):
    # The fields have 32 bits: 4,294,967,295 at 48,000 Hz is 89,478.4853125 s.
    path = tmp_path / "take.wav"
    path.write_bytes(form([(b"fmt ", fmt()), (b"data", bytes(2))]))
    last_s = 4_294_967_295 / RATE
    found = by_wavinfo(copied_file(path, of_spans([(last_s, last_s + 1)])))
    assert found[0].at == 4_294_967_295
    with pytest.raises(
        TakeError, match=r"lasts longer than cue points reach.*'02 .*cut the recording in two"
    ):
        copied(path, of_spans([(1.0, 2.0), (last_s + 1 / RATE, last_s + 1)]))


@pytest.mark.parametrize("name", ["a.wav", "a.WAV", "a.b.Wave", "a.bwf", "a.RF64", "a.bw64"])
def test_a_wav_by_its_name_has_a_copy(name):
    assert CuePoints().suffix_for(name) == ".markers.wav"
    assert CuePoints().suffix_for(name) in CuePoints().suffixes


@pytest.mark.parametrize("name", ["a.flac", "a.mp3", "a.w64", "a.aiff", "wav", "a.wav.ogg"])
def test_other_sound_is_refused_with_a_way_out(name):
    with pytest.raises(UnfitError, match="only WAV files hold cue points; ask for chapters instead"):
        CuePoints().suffix_for(name)


def test_a_midi_take_has_no_sound_to_copy():
    with pytest.raises(UnfitError, match="a MIDI take has no sound"):
        CuePoints().suffix_for("a.MID")


def test_a_title_or_file_name_does_not_get_in(tmp_path):
    soundfile.write(tmp_path / "take.wav", tone(5.0), RATE)
    titled = analysis_of(phrases_at(SPANS), take=take_info("Ärger – 夜.wav", title="\x1bÄrger – 夜"))
    assert copied(tmp_path / "take.wav", titled) == copied(tmp_path / "take.wav")


def test_a_recording_that_is_gone_is_one_line(tmp_path):
    with pytest.raises(TakeError, match="is not there any more"):
        CuePoints().copy(of_spans(), tmp_path / "gone.wav", io.BytesIO())


def test_what_knows_sound_is_loaded_when_a_copy_is_made_and_not_before():
    code = "import sys, exporters.copies.cue_points; print({'numpy', 'soundfile'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "set()\n"
