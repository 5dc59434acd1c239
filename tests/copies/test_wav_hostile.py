"""Whatever the bytes, a copy is whole or refused in one line, in memory and time that they do not choose."""

import io
import struct
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from waves import chunk, chunks_of, fmt, form, of_spans

from batch.errors import LaterError, TakeError
from exporters.copies.cue_points import CuePoints

FMT, SOUND = (b"fmt ", fmt()), (b"data", bytes(range(200)))
MOST_BYTES = 48 << 20


def refused(path: Path, content: bytes) -> str:
    """Return the line in which a recording is refused, in little memory."""
    path.write_bytes(content)
    tracemalloc.start()
    try:
        with pytest.raises(TakeError) as caught:
            CuePoints().copy(of_spans(), path, io.BytesIO())
        assert tracemalloc.get_traced_memory()[1] < MOST_BYTES
    finally:
        tracemalloc.stop()
    line = str(caught.value)
    assert line.isprintable() and "; " in line
    return line


HOSTILE = {
    "nothing": (b"", "holds no RIFF WAVE"),
    "no form": (b"RIFF", "holds no RIFF WAVE"),
    "another format": (b"fLaC" + bytes(100), "holds no RIFF WAVE"),
    "big-endian": (b"RIFX" + bytes(4) + b"WAVE", "holds no RIFF WAVE"),
    "another type": (b"RIFF" + bytes(4) + b"AVI ", "holds no RIFF WAVE"),
    "no chunks": (form([]), "lacks its chunk 'fmt '"),
    "no sound": (form([FMT]), "lacks its chunk 'data'"),
    "no format": (form([SOUND]), "lacks its chunk 'fmt '"),
    "sound cut short": (form([FMT, SOUND])[:-50], "its chunk 'data' is not whole"),
    "chunk cut short": (form([FMT, SOUND, (b"bext", bytes(602))])[:-1], "its chunk 'bext' is not whole"),
    "header cut short": (form([FMT, SOUND, (b"bext", bytes(602))])[: 12 + 24 + 208 + 6], "is not whole"),
    "garbage in the form": (
        form([FMT, SOUND])[:4] + struct.pack("<I", 500) + form([FMT, SOUND])[8:] + b"\xff" * 300,
        "its content at byte 244 is not whole",
    ),
    "a size that lies": (
        form([FMT]) + b"LIST" + struct.pack("<I", 1 << 31) + bytes(100) + chunk(*SOUND),
        "lacks its chunk 'data'",
    ),
    "a million chunks": (
        form([FMT, SOUND], after=chunk(b"zzzz", b"") * 1_000_000),
        "holds more than 10,000 chunks",
    ),
    "a million chunks before the sound": (
        form([FMT, *[(b"zzzz", b"")] * 1_000_000, SOUND]),
        "holds more than 10,000 chunks",
    ),
    "four billion cue points": (
        form([FMT, SOUND, (b"cue ", b"\xff" * 4 + bytes(240))]),
        "states 4,294,967,295 and has room for 10",
    ),
    "20 MiB of cue points": (form([FMT, SOUND, (b"cue ", bytes(20 << 20))]), "more than any program writes"),
    "many long lists": (
        form([FMT, SOUND, *[(b"LIST", b"adtl" + chunk(b"labl", bytes(1 << 20)))] * 40]),
        "more labels than any program writes",
    ),
    "a list of labels of nonsense": (form([FMT, SOUND, (b"LIST", b"adtl" + b"\xff" * 99)]), "damaged"),
}


@pytest.mark.parametrize("case", HOSTILE)
def test_a_hostile_header_is_one_line(tmp_path, case):
    content, said = HOSTILE[case]
    assert said in refused(tmp_path / "take.wav", content)


def test_as_many_labels_as_there_may_be_are_kept(tmp_path):
    # 4 MiB of the shortest.
    words = chunk(b"labl", struct.pack("<I", 9)) * (((1 << 22) - 4) // 12)
    (path := tmp_path / "take.wav").write_bytes(form([FMT, SOUND, (b"LIST", b"adtl" + words)]))
    copy = io.BytesIO()
    CuePoints().copy(of_spans(), path, copy)
    assert words in copy.getvalue()


def test_a_recording_that_shrinks_meanwhile_waits_for_the_next_run(tmp_path):
    (path := tmp_path / "take.wav").write_bytes(form([FMT, (b"data", bytes(5 << 20))]))

    class Shrinking(io.BytesIO):
        def write(self, content: bytes) -> int:  # type: ignore[override]
            with path.open("r+b") as stream:
                stream.truncate(1 << 20)
            return super().write(content)

    with pytest.raises(LaterError, match="changed while it was copied"):
        CuePoints().copy(of_spans(), path, Shrinking())


GOOD = form([(b"JUNK", bytes(28)), FMT, (b"cue ", bytes(4)), SOUND, (b"LIST", b"adtl"), (b"iXML", b"<a/>")])


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    damage=st.lists(st.tuples(st.integers(0, len(GOOD)), st.binary(min_size=1, max_size=8)), max_size=4),
    kept=st.integers(0, len(GOOD)),
    kind=st.sampled_from([b"RIFF", b"RF64", b"BW64"]),
)
@example(damage=[(16, b"\xff" * 4)], kept=len(GOOD), kind=b"RIFF")
def test_whatever_the_bytes_a_copy_is_whole_or_refused(tmp_path, damage, kept, kind):
    content = bytearray(kind + GOOD[4:])
    for at, value in damage:
        content[at : at + len(value)] = value
    (path := tmp_path / "take.wav").write_bytes(content[: max(kept, 12)])
    copy = io.BytesIO()
    try:
        CuePoints().copy(of_spans(), path, copy)
    except TakeError as error:
        assert str(error).isprintable()
    else:
        assert b"Made by takemill" in copy.getvalue()[-24:]
        if copy.getvalue()[:4] == b"RIFF":
            names = [name for name, _ in chunks_of(copy.getvalue())]
            assert names[-3:] == [b"cue ", b"LIST", b"JUNK"]
