"""Names and tags that programs obey, through the installed command, read back by other readers."""

import csv
import io
import json
import os
import re
import socket
import unicodedata
from pathlib import Path
from urllib.parse import unquote_to_bytes
from xml.etree import ElementTree

import mido
import mutagen
import pytest
import soundfile
from conftest import Run
from sounding import RATE_HZ, line, sound_of, write_midi_take

from batch.errors import TakeError
from batch.inert import inert, inert_cell, title_of
from batch.midi_take import read_performance
from batch.sound import open_sound
from batch.sound.broadcast import read_broadcast
from batch.sound.protection import refuse_locked
from batch.tags import Tags, read_tags
from batch.takes import open_take

NAMES = (
    "new\nline", "tab\there", "quo\"te'", "com,ma;semi", "emoji😀🎷", "rtl\u202egnp.evil", "zero\u200bwidth",
    "e\u0301\u0323" + "\u0301" * 20, "=1+1", "+cmd", "-x", "@SUM(A1)", "trail. . ", "con", "nul", "--out",
    "--jobs=4", "esc\x1b[31m\x1b]0;title\x07", "cr\rhidden", "catalogue.sqlite", "solo.cues", "＝full",
    "\u2028line\u2029", "\x85\x9b", "$(touch x)", "<b>&amp;", "[bold]rich", "  =led", "\u00a0=led",
    "\u2066iso",
)  # fmt: skip
TITLES = ("=cmd|' /C calc'!A0", "\u202eevil", "esc\x1b[31m", "new\nline", "\u200b=1", "＝1")
FORMULA = re.compile(r"\s*[=+\-@＝＋－＠]")
"""What a spreadsheet runs (OWASP, "CSV Injection"; from memory)."""


def obeyed(text: str) -> set[str]:
    """Return the characters of a text that are controls, format characters or separators of lines."""
    return {c for c in text if unicodedata.category(c) in {"Cc", "Cf", "Cs", "Zl", "Zp"}}


def is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def cells_of(content: bytes) -> list[str]:
    rows = list(csv.reader(io.StringIO(content.decode(), newline=""), strict=True))
    assert len({len(row) for row in rows}) == 1
    return [cell for row in rows for cell in row]


@pytest.fixture(scope="module")
def gig(takemill: Run, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """Return a folder of takes with such names and titles, heard, and what was said of them."""
    folder = tmp_path_factory.mktemp("names") / "gig"
    folder.mkdir()
    (folder / "takemill.toml").write_text("[session]\nwrite = true\n")
    for name in NAMES:
        write_midi_take(folder / f"{name}.mid", line(phrases=2))
    for number, title in enumerate(TITLES):
        path = folder / f"titled{number}.flac"
        soundfile.write(path, sound_of(line(phrases=1)), RATE_HZ)
        file = mutagen.File(path)
        file["title"] = title
        file.save()
    (folder / "bad\x1b[2J\u202e\n.wav").write_bytes(b"no recording")
    done = takemill("run", folder)
    assert done.returncode == 1
    assert len(done.stderr.splitlines()) == 1
    return folder, done.stdout + done.stderr


def test_what_is_said_of_them_is_plain(gig, takemill):
    folder, said = gig
    for command in (("rank", folder), ("status", folder), ("show", folder / f"{NAMES[0]}.mid")):
        done = takemill(*command)
        assert done.returncode == 0
        said += done.stdout + done.stderr
    said += takemill("show", "\x1b[31m\u202e", "--in", folder).stderr
    assert obeyed(said) <= {"\n"}
    assert all(f"{inert(name)}.mid: 2 phrases" in said for name in NAMES)


def test_cue_lists_and_rankings_hold_no_formula_and_nothing_that_is_obeyed(gig, takemill):
    folder, _ = gig
    lists = [path.read_bytes() for path in (folder / "markers").glob("*.csv")]
    lists.append(takemill("rank", folder, "--format", "csv").stdout.encode())
    assert len(lists) == len(NAMES) + len(TITLES) + 2
    for cell in (cell for content in lists for cell in cells_of(content)):
        assert not obeyed(cell)
        assert is_number(cell) or not FORMULA.match(cell)


def test_markers_are_printable_ascii(gig):
    folder, _ = gig
    files = list((folder / "markers").glob("*.mid"))
    assert len(files) == len(NAMES) + len(TITLES) + 1
    for message in (message for path in files for track in mido.MidiFile(path).tracks for message in track):
        text = getattr(message, "text", "")
        assert text.isascii() and not obeyed(text)


def test_analyses_and_the_ranking_as_json_keep_names_as_they_are_in_ascii(gig, takemill):
    folder, _ = gig
    contents = [path.read_bytes() for path in (folder / "markers").glob("*.json")]
    files = {json.loads(content.decode("ascii"))["take"]["file"] for content in contents}
    assert {f"{name}.mid" for name in NAMES} <= files
    ranked = json.loads(takemill("rank", folder, "--format", "json").stdout.encode().decode("ascii"))
    assert {row["take"] for row in ranked} == files


def test_the_playlist_finds_every_take_and_is_xml_1_0(gig, takemill):
    folder, _ = gig
    content = takemill("rank", folder, "--format", "xspf").stdout
    root = ElementTree.fromstring(content)
    tracks = list(root.iter("{http://xspf.org/ns/0/}track"))
    assert len(tracks) == len(NAMES) + len(TITLES)
    for track in tracks:
        location = track.findtext("{http://xspf.org/ns/0/}location", "")
        assert Path(os.fsdecode(unquote_to_bytes(location.removeprefix("file://")))).is_file()
        assert not obeyed(track.findtext("{http://xspf.org/ns/0/}title", "\n"))


def test_nothing_is_written_outside(gig):
    folder, _ = gig
    assert [path.name for path in folder.parent.iterdir()] == ["gig"]
    assert {path.name for path in folder.iterdir() if path.is_dir()} == {"markers"}
    assert not [path for path in (folder / "markers").iterdir() if path.name.startswith(".takemill")]


def test_inert_text_shows_a_question_mark_for_what_no_eye_sees():
    assert inert("a\x1b\u202e\u200b\n夜😀 e\u0301") == "a????夜😀 e\u0301"
    assert inert_cell(" \t=1") == " ?=1"
    assert inert_cell("  =1") == "'  =1"
    assert title_of("a\n\tb\u202e" + "c" * 500) == ("a b " + "c" * 500)[:200]
    assert title_of("\n\x00 ") is None


def pipe(path: Path) -> None:
    os.mkfifo(path)


def endless(path: Path) -> None:
    path.symlink_to("/dev/zero")


@pytest.mark.parametrize("make", [pipe, endless], ids=["pipe", "device"])
@pytest.mark.parametrize(
    "read",
    [open_sound, refuse_locked, read_performance, lambda path: read_broadcast(path, 48_000)],
    ids=["sound", "protection", "midi", "broadcast"],
)
def test_what_took_a_takes_place_after_the_folder_was_listed_is_refused_at_once(tmp_path, make, read):
    path = tmp_path / "take.wav"
    make(path)
    with pytest.raises((TakeError, OSError)) as error:
        read(path)
    assert "is a pipe" in str(error.value) or "is a device" in str(error.value)


@pytest.mark.parametrize("make", [pipe, endless], ids=["pipe", "device"])
def test_tags_of_what_is_no_file_are_none(tmp_path, make):
    make(tmp_path / "take.wav")
    assert read_tags(tmp_path / "take.wav") == Tags()


def test_a_take_that_is_no_file_is_refused_before_it_is_read(tmp_path):
    for name, make in (("a.wav", pipe), ("b.mid", pipe), ("c.wav", endless)):
        make(tmp_path / name)
        with pytest.raises(TakeError, match=r"is a pipe|is a device"):
            open_take(tmp_path / name, "")


def test_among_what_is_no_file_the_good_take_is_heard(takemill, tmp_path, monkeypatch):
    folder, outside = tmp_path / "gig", write_midi_take(tmp_path / "outside.mid", line(phrases=5))
    folder.mkdir()
    monkeypatch.chdir(folder)  # a socket's name may not be long
    write_midi_take(folder / "good.mid")
    os.mkfifo("pipe.wav")
    Path("device.wav").symlink_to("/dev/zero")
    Path("gone.wav").symlink_to("nowhere.wav")
    Path("circle.wav").symlink_to("circle.wav")
    Path("folder.wav").mkdir()
    Path("link.mid").symlink_to(outside)
    with socket.socket(socket.AF_UNIX) as server:
        server.bind("socket.wav")
        before = {path: path.read_bytes() for path in (folder / "good.mid", outside)}
        done = takemill("run", folder)
    assert "good.mid: 6 phrases" in done.stdout
    assert "link.mid: 5 phrases" in done.stdout
    assert "Traceback" not in done.stderr
    assert {path: path.read_bytes() for path in before} == before


def test_settings_that_are_no_file_are_a_mistake_in_a_line(takemill, tmp_path):
    write_midi_take(tmp_path / "good.mid")
    os.mkfifo(tmp_path / "takemill.toml")
    done = takemill("run", tmp_path)
    assert done.returncode == 2
    assert done.stderr == f"takemill: {tmp_path / 'takemill.toml'}: is a pipe, no file; take it away\n"
