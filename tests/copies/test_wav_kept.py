"""What a recording holds beside its sound is in the copy, byte for byte and in order; its cue points too."""

import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from recording import tone
from test_broadcast import bext, broadcast_wave
from waves import (
    MADE,
    NAMES,
    RATE,
    Seen,
    by_libsndfile,
    by_wavinfo,
    chunk,
    chunks_of,
    copied,
    copied_file,
    fmt,
    form,
    of_spans,
)
from wavinfo import WavInfoReader

from batch.errors import TakeError
from batch.takes import AudioTake, open_take

FMT, SOUND = (b"fmt ", fmt()), (b"data", np.arange(RATE, dtype="<i2").tobytes())
IXML = (b"iXML", b"<BWFXML><IXML_VERSION>1.5</IXML_VERSION><NOTE>odd</NOTE></BWFXML>")
INFO = (b"LIST", b"INFO" + chunk(b"INAM", b"Blue\0") + chunk(b"ICMT", b"second set\0"))


def point(number: int, at: int) -> bytes:
    return struct.pack("<II4sIII", number, at, b"data", 0, 0, at)


def table(*points: bytes) -> tuple[bytes, bytes]:
    return b"cue ", struct.pack("<I", len(points)) + b"".join(points)


def words(*entries: tuple[bytes, bytes]) -> tuple[bytes, bytes]:
    return b"LIST", b"adtl" + b"".join(chunk(*entry) for entry in entries)


def label(number: int, text: bytes) -> tuple[bytes, bytes]:
    return b"labl", struct.pack("<I", number) + text + b"\0"


def wav(path: Path, *chunks: tuple[bytes, bytes], after: bytes = b"") -> Path:
    path.write_bytes(form(chunks, after=after))
    return path


def is_ours(each: tuple[bytes, bytes]) -> bool:
    return each[0] == b"cue " or (each[0] == b"LIST" and each[1][:4] == b"adtl") or each == MADE


def foreign(content: bytes) -> list[tuple[bytes, bytes]]:
    return [each for each in chunks_of(content) if not is_ours(each)]


def test_bext_ixml_and_info_are_read_as_before(tmp_path):
    path = broadcast_wave(tmp_path / "take.wav", bext(7 * RATE) + chunk(*IXML) + chunk(*INFO))
    before, after = (WavInfoReader(str(each)) for each in (path, copied_file(path)))
    assert after.bext.to_dict() == before.bext.to_dict()
    assert after.bext.time_reference == 7 * RATE
    assert after.info.to_dict() == before.info.to_dict()
    assert after.info.title == "Blue"
    assert after.ixml.source == before.ixml.source


NAMED = st.sampled_from(
    [b"bext", b"iXML", b"axml", b"chna", b"id3 ", b"JUNK", b"PAD ", b"smpl", b"zz!9", b"FLLR"]
)
OTHER = st.tuples(NAMED, st.binary(max_size=70)) | st.just(INFO)


@st.composite
def recordings(draw: st.DrawFn) -> list[tuple[bytes, bytes]]:
    """Chunks in any order, the format before the sound, maybe with cue points and labels among them."""
    theirs = [[table(point(3, 5))], [words(label(3, b"x"))]] if draw(st.booleans()) else [[], []]
    some = st.lists(OTHER, max_size=4)
    sound = b"data", draw(st.binary(min_size=1, max_size=99))
    return [*draw(some), FMT, *theirs[0], *draw(some), sound, *theirs[1], *draw(some)]


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(recordings(), st.booleans())
def test_every_other_chunk_is_there_byte_for_byte_in_order(tmp_path, chunks, lacks_last_pad):
    content = form(chunks)
    if lacks_last_pad and len(chunks[-1][1]) % 2:
        content = content[:-1]
    (path := tmp_path / "take.wav").write_bytes(content)
    copy = copied(path)
    assert int.from_bytes(copy[4:8], "little") == len(copy) - 8
    assert foreign(copy) == [each for each in chunks if not is_ours(each)]
    assert [name for name, _ in filter(is_ours, chunks_of(copy))] == [b"cue ", b"LIST", b"JUNK"]


def test_cue_points_that_are_there_stay_and_ours_get_numbers_of_their_own(tmp_path):
    theirs = (
        table(point(1, 10), point(7, 20)),
        words(
            label(1, b"count-in"),
            label(7, "Größe".encode("latin-1")),
            (b"note", struct.pack("<I", 7) + b"hm\0"),
        ),
    )
    path = wav(tmp_path / "take.wav", FMT, theirs[0], SOUND, theirs[1])
    copy = copied_file(path)
    assert by_wavinfo(copy) == [
        Seen(1, 10, "count-in"),
        Seen(7, 20, "Größe"),
        Seen(2, 24_000, NAMES[0], 48_000),
        Seen(3, 96_000, NAMES[1], 96_000),
    ]
    assert WavInfoReader(str(copy)).cues.label_and_note(7) == ("Größe", "hm")
    names = [name for name, _ in chunks_of(copy.read_bytes())]
    assert names == [b"fmt ", b"data", b"cue ", b"LIST", b"JUNK"]


def test_a_label_without_a_point_keeps_its_number_to_itself(tmp_path):
    path = wav(tmp_path / "take.wav", FMT, SOUND, words(label(1, b"stray")), words(label(2, b"another")))
    assert [seen.number for seen in by_wavinfo(copied_file(path))] == [3, 4]


def test_libsndfile_reads_our_labels_beside_regions_of_theirs(tmp_path):
    region = b"ltxt", struct.pack("<II4sHHHH", 1, 5, b"rgn ", 0, 0, 0, 0)
    path = wav(tmp_path / "take.wav", FMT, SOUND, table(point(1, 10)), words(label(1, b"intro"), region))
    assert [seen.name for seen in by_libsndfile(copied_file(path))] == ["intro", *NAMES]


def test_numbers_at_the_end_of_their_range_leave_room(tmp_path):
    path = wav(tmp_path / "take.wav", FMT, SOUND, table(point(0xFFFFFFFF, 1), point(2, 2)))
    assert [seen.number for seen in by_wavinfo(copied_file(path))] == [0xFFFFFFFF, 2, 1, 3]


def test_a_copy_of_a_copy_keeps_what_the_first_has(tmp_path):
    path = wav(tmp_path / "take.wav", FMT, SOUND)
    again = copied_file(copied_file(path), of_spans([(3.0, 3.5)]))
    assert [seen.at for seen in by_wavinfo(again)] == [24_000, 96_000, 144_000]


MALFORMED = {
    "states more than there are": [(b"cue ", struct.pack("<I", 2) + point(1, 1))],
    "half a point": [(b"cue ", struct.pack("<I", 1) + point(1, 1)[:-3])],
    "nothing": [(b"cue ", b"")],
    "two tables": [table(point(1, 1)), table(point(2, 2))],
    "a label cut short": [(b"LIST", b"adtl" + chunk(*label(1, b"abcdef"))[:-4])],
    "no number": [(b"LIST", b"adtl" + chunk(b"labl", b"ab"))],
    "zeros": [(b"LIST", b"adtl" + bytes(20))],
}


@pytest.mark.parametrize("case", MALFORMED)
def test_malformed_cue_points_of_its_own_are_refused_rather_than_lost(tmp_path, case):
    path = wav(tmp_path / "take.wav", FMT, SOUND, *MALFORMED[case])
    with pytest.raises(
        TakeError, match=r"cue points of its own that are malformed.*export it again, or use its cue"
    ):
        copied(path)


def test_a_pad_byte_forgotten_in_the_middle_costs_nothing(tmp_path):
    odd = b"data", b"\x01\x02\x03"
    body = b"WAVE" + chunk(*FMT) + chunk(*odd)[:-1] + chunk(*IXML) + chunk(*INFO)
    (path := tmp_path / "take.wav").write_bytes(b"RIFF" + struct.pack("<I", len(body)) + body)
    assert foreign(copied(path)) == [FMT, odd, IXML, INFO]


def test_chunks_behind_the_end_that_the_header_states_are_kept(tmp_path):
    path = wav(tmp_path / "take.wav", FMT, SOUND, after=chunk(*IXML) + chunk(*INFO))
    assert foreign(copied(path)) == [FMT, SOUND, IXML, INFO]


@pytest.mark.parametrize(
    "after", [b"TAG" + b"Blue".ljust(125, b"\0"), b"\x01\x02", bytes(100_000), b"\xff" * 5000]
)
def test_what_stands_behind_the_form_and_is_no_chunk_is_left_out(tmp_path, after):
    # The first is an ID3v1 tag, which belongs to MP3.
    path = wav(tmp_path / "take.wav", FMT, SOUND, after=after)
    assert copied(path) == copied(wav(tmp_path / "plain.wav", FMT, SOUND))


def test_zeros_at_the_end_of_the_form_are_padding(tmp_path):
    content = form([FMT, SOUND], after=bytes(4096))
    content = content[:4] + struct.pack("<I", len(content) - 8) + content[8:]
    (path := tmp_path / "take.wav").write_bytes(content)
    assert foreign(copied(path)) == [FMT, SOUND]


# What libsndfile takes for a length left open; a length of 0 where the form states 8.
@pytest.mark.parametrize(
    ("stated", "sound"),
    [(8, 0), (0, 0xFFFFFFFF), (0xFFFFFFFF, 0xFFFFFFFF), (36, 0x7FFFFFFF), (0, 0x80000000)],
)
def test_a_header_that_a_recorder_never_finished_is_right_in_the_copy(tmp_path, stated, sound):
    content = bytearray(form([FMT, SOUND]))
    content[4:8], content[40:44] = struct.pack("<I", stated), struct.pack("<I", sound)
    (path := tmp_path / "take.wav").write_bytes(content)
    take = open_take(path, "")
    assert isinstance(take, AudioTake) and take.sound.frames == RATE
    copy = copied_file(path)
    assert foreign(copy.read_bytes()) == [FMT, SOUND]
    assert soundfile.info(copy).frames == WavInfoReader(str(copy)).data.frame_count == RATE


def test_a_tone_keeps_its_samples_to_the_last(tmp_path):
    soundfile.write(tmp_path / "take.wav", tone(1.0)[:-1], RATE, subtype="PCM_24")  # an odd number of bytes
    copy = copied_file(tmp_path / "take.wav")
    assert np.array_equal(soundfile.read(copy)[0], soundfile.read(tmp_path / "take.wav")[0])
