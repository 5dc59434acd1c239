"""Bad input: one clear line, the other takes done, no traceback, nothing half-written."""

import json
import os
import shutil
import sqlite3
import struct
import subprocess
import tempfile
import time
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
import soundfile
from conftest import COMMAND
from sounding import RATE_HZ, line, sound_of, write_midi_take, write_take


def reads_everything() -> bool:
    """Return whether permissions do not bind us, as they do not bind root with all its capabilities."""
    with tempfile.NamedTemporaryFile() as file:
        Path(file.name).chmod(0)
        return os.access(file.name, os.R_OK)


ROOT_READS_ALL = pytest.mark.skipif(reads_everything(), reason="root may read and write everything")


def text(path: Path) -> None:
    path.write_text("I am not a recording at all, only some words in a file.\n" * 20)


def empty(path: Path) -> None:
    path.touch()


def truncated(path: Path) -> None:
    write_take(path)
    path.write_bytes(path.read_bytes()[:20_000])


def promising(path: Path) -> None:
    write_take(path)
    content = bytearray(path.read_bytes())
    at = content.index(b"data") + 4
    content[at : at + 4] = struct.pack("<I", 10 * len(content))
    path.write_bytes(content)


def not_numbers(path: Path) -> None:
    samples = sound_of(line()).astype("float32")
    samples[1000:1010] = np.nan
    soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")


def header_only(path: Path) -> None:
    soundfile.write(path, np.zeros(0), RATE_HZ)


def broken_midi(path: Path) -> None:
    write_midi_take(path)
    path.write_bytes(path.read_bytes()[:60])


def midi_of_text(path: Path) -> None:
    path.write_text("a march in two, played on words alone")


FAULTS = [
    ("empty.wav", empty, "is empty"),
    ("words.wav", text, "is no sound file"),
    ("cut.wav", truncated, "cut short"),
    ("promise.wav", promising, "promises"),
    ("nan.wav", not_numbers, "not numbers"),
    ("header.wav", header_only, "no sound"),
    ("cut.flac", truncated, ""),
    ("broken.mid", broken_midi, "broken MIDI file"),
    ("words.mid", midi_of_text, "not a Standard MIDI File"),
    ("words.mp3", text, "is no sound file"),
]


@pytest.mark.parametrize(("name", "make", "said"), FAULTS, ids=[name for name, _, _ in FAULTS])
def test_a_broken_take_gets_one_line_and_the_others_are_done(takemill, tmp_path, name, make, said):
    make(tmp_path / name)
    write_midi_take(tmp_path / "good.mid")
    done = takemill("run", tmp_path)
    assert done.returncode == 1
    assert len(done.stderr.splitlines()) == 1
    assert done.stderr.startswith(f"{name}: ")
    assert said in done.stderr
    assert "; " in done.stderr, "what to do"
    assert "good.mid: 6 phrases" in done.stdout
    left = {path.name for path in (tmp_path / "markers").iterdir()}
    assert left == {f"good{s}" for s in (".markers.mid", ".cues.csv", ".analysis.json")} | {
        "catalogue.sqlite"
    }


def test_a_mended_take_is_tried_again(takemill, tmp_path):
    text(tmp_path / "solo.wav")
    assert takemill("run", tmp_path).returncode == 1
    write_take(tmp_path / "solo.wav")
    again = takemill("run", tmp_path)
    assert (again.returncode, again.stderr) == (0, "")


def quiet(path: Path) -> None:
    soundfile.write(path, np.zeros(5 * RATE_HZ), RATE_HZ)


def noise(path: Path) -> None:
    soundfile.write(path, np.random.default_rng(1).normal(0, 0.1, 5 * RATE_HZ), RATE_HZ)


@pytest.mark.parametrize(("make", "why"), [(quiet, "the take is silent"), (noise, "only noise")])
def test_a_take_without_notes_says_so_and_invents_no_phrases(takemill, tmp_path, make, why):
    make(tmp_path / "take.wav")
    done = takemill("run", tmp_path)
    assert done.returncode == 0
    assert f"take.wav: no phrases: {why}" in done.stdout


def test_one_note_is_one_phrase_without_a_score(takemill, tmp_path):
    write_take(tmp_path / "one.wav", [(1.0, 1.8, 64)])
    done = takemill("run", tmp_path)
    assert done.returncode == 0
    assert "one.wav: 1 phrase, no variety score: one phrase; a score needs 4 or more" in done.stdout


def test_a_folder_without_takes_says_so(takemill, tmp_path):
    done = takemill("run", tmp_path)
    assert f"{tmp_path}: no takes here" in done.stderr
    assert not (tmp_path / "markers").exists()


def test_a_path_that_is_not_there_is_wrong_use_and_the_others_are_done(takemill, tmp_path):
    write_midi_take(tmp_path / "good.mid")
    done = takemill("run", tmp_path / "good.mid", tmp_path / "gone.wav", "--out", tmp_path / "out")
    assert done.returncode == 2
    assert f"{tmp_path / 'gone.wav'}: is not there" in done.stderr
    assert (tmp_path / "out" / "good.analysis.json").is_file()


def test_a_file_that_is_no_take_says_what_takes_are(takemill, tmp_path):
    (tmp_path / "notes.txt").write_text("bring cables")
    done = takemill("run", tmp_path / "notes.txt")
    assert done.returncode == 2
    assert ".flac" in done.stderr


def test_takes_from_two_folders_need_a_place_to_write(takemill, tmp_path):
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        write_midi_take(tmp_path / name / "solo.mid", line(phrases=4 + len(name)))
    done = takemill("run", tmp_path / "a", tmp_path / "b")
    assert (done.returncode, "--out DIR" in done.stderr) == (2, True)
    done = takemill("run", tmp_path / "a", tmp_path / "b", "--out", tmp_path / "out")
    assert done.returncode == 0
    assert {p.name for p in (tmp_path / "out").glob("*.csv")} == {
        "a-solo.mid.cues.csv",
        "b-solo.mid.cues.csv",
    }


@ROOT_READS_ALL
def test_a_take_that_may_not_be_read_gets_one_line(takemill, tmp_path):
    write_take(tmp_path / "secret.wav").chmod(0)
    done = takemill("run", tmp_path)
    assert done.returncode == 1
    assert done.stderr.startswith("secret.wav: may not be read")


@ROOT_READS_ALL
def test_an_output_folder_that_refuses_is_wrong_use(takemill, tmp_path):
    write_midi_take(tmp_path / "good.mid")
    (tmp_path / "locked").mkdir(mode=0o500)
    done = takemill("run", tmp_path, "--out", tmp_path / "locked")
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1


def test_an_output_folder_that_is_a_file_is_wrong_use(takemill, tmp_path):
    write_midi_take(tmp_path / "good.mid")
    (tmp_path / "out").write_text("")
    done = takemill("run", tmp_path, "--out", tmp_path / "out")
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert "cannot be written to" in done.stderr


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("[grid]\ntempo_bpm = -3\n", "grid.tempo_bpm = -3: allowed is a number from 20 to 400"),
        ("[grid]\ntempo = 120\n", "grid.tempo: no such setting; did you mean tempo_bpm?"),
        ("[grid]\nmeter = '4/5'\n", "grid.meter = '4/5': allowed is a meter such as \"4/4\""),
        ("[cues]\nseparator = 'x'\n", "cues.separator = 'x': allowed is one of"),
        ("[cues]\ncolumns = []\n", "cues.columns = []: allowed is a list with one or more of"),
        ("[labels]\nlong_from_beats = true\n", "labels.long_from_beats = true: allowed is a number above 0"),
        ("[sound]\nchannel = 0\n", "sound.channel = 0: allowed is one of "),
        ("[folder]\ninclude = 'x'\n", "folder.include = 'x': allowed is a list, such as"),
        ("[hearing]\ntime_limit_s = 0\n", "hearing.time_limit_s = 0: allowed is a number from 1 to 604800"),
        ("[watch]\npoll = 'yes'\n", "watch.poll = 'yes': allowed is true or false"),
        ("[takes]\ntempo_bpm = 66\n", "takes.tempo_bpm = 66: allowed is a section"),
        ("[variety]\nphrases_from = 1\n", "variety.phrases_from = 1: allowed is a whole number of 2 or more"),
        ("[grid\n", "not valid TOML"),
        ("tempo_bpm = 120\n", "tempo_bpm: no such setting"),
        ("[grid]\ntempo_bpm = nan\n", "grid.tempo_bpm = nan"),
    ],
)
def test_broken_settings_name_file_key_value_and_what_is_allowed(takemill, tmp_path, written, said):
    write_midi_take(tmp_path / "good.mid")
    settings = tmp_path / "takemill.toml"
    settings.write_text(written)
    done = takemill("run", tmp_path)
    assert done.returncode == 2
    assert f"{settings}: " in done.stderr
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert not list((tmp_path / "markers").glob("good*"))


def test_a_broken_tempo_map_fails_its_take_and_names_the_map(takemill, tmp_path):
    write_midi_take(tmp_path / "good.mid")
    write_take(tmp_path / "solo.wav")
    (tmp_path / "solo.tempo.mid").write_text("no map")
    done = takemill("run", tmp_path)
    assert done.returncode == 1
    assert done.stderr.startswith("solo.wav: its tempo map solo.tempo.mid is not a Standard MIDI File")
    assert "good.mid: 6 phrases" in done.stdout


@pytest.mark.parametrize("command", ["rank", "status"])
def test_a_folder_without_catalogue_says_so(takemill, tmp_path, command):
    done = takemill(command, tmp_path)
    assert (done.returncode, len(done.stderr.splitlines())) == (2, 1)
    assert "run takemill first" in done.stderr


def test_a_damaged_catalogue_is_named_and_set_aside(takemill, tmp_path):
    damaged = b"not a database at all" * 100
    (tmp_path / "catalogue.sqlite").write_bytes(damaged)
    done = takemill("rank", tmp_path)
    assert (done.returncode, done.stdout) == (0, "")
    assert "is damaged" in done.stderr
    (aside,) = tmp_path.glob("catalogue.damaged-*.sqlite")
    assert aside.read_bytes() == damaged


def test_a_take_that_was_never_heard_is_not_shown(takemill, tmp_path):
    write_midi_take(tmp_path / "good.mid")
    takemill("run", tmp_path)
    done = takemill("show", "other", "--in", tmp_path)
    assert (done.returncode, len(done.stderr.splitlines())) == (2, 1)


def test_watching_what_is_no_folder_is_wrong_use(takemill, tmp_path):
    done = takemill("watch", tmp_path / "nowhere")
    assert (done.returncode, len(done.stderr.splitlines())) == (2, 1)


def test_hostile_names_are_inert_everywhere(takemill, tmp_path):
    folder = tmp_path / "gig"
    folder.mkdir()
    name = "=cmd|'calc'\x1b[31m\n.mid"
    write_midi_take(folder / name)
    done = takemill("run", folder)
    assert done.returncode == 0
    said = done.stdout + takemill("rank", folder).stdout + takemill("status", folder).stdout
    assert "\x1b" not in said
    (cues,) = (folder / "markers").glob("*.cues.csv")
    assert "\"'=cmd" in cues.read_text() or "'=cmd" in cues.read_text()
    shutil.rmtree(folder)


@pytest.mark.parametrize("after_s", [0.3, 0.6, 0.8, 1.0, 1.3])
def test_a_killed_run_loses_nothing_and_is_taken_up_again(takemill, tmp_path, after_s):
    for number in range(8):
        write_midi_take(tmp_path / f"take{number}.mid", line(phrases=4 + number))
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    run = subprocess.Popen([COMMAND, "run", tmp_path], stdout=subprocess.DEVNULL)
    time.sleep(after_s)
    run.kill()
    run.wait()
    assert takemill("run", tmp_path).returncode == 0
    for number in range(8):
        analysis = json.loads((tmp_path / "markers" / f"take{number}.analysis.json").read_text())
        assert len(analysis["phrases"]) == 4 + number
    assert not [path for path in (tmp_path / "markers").iterdir() if path.name.startswith(".")]
    with closing(sqlite3.connect(tmp_path / "markers" / "catalogue.sqlite")) as catalogue:
        assert catalogue.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert {path: path.read_bytes() for path in before} == before


def test_what_stands_where_a_file_should_go_leaves_no_half_take(takemill, tmp_path):
    write_midi_take(tmp_path / "solo.mid")
    cues = tmp_path / "markers" / "solo.cues.csv"
    cues.mkdir(parents=True)
    done = takemill("run", tmp_path)
    said = f"solo.mid: {cues} is not by takemill and was left alone; move it away\n"
    assert (done.returncode, done.stderr) == (1, said)
    assert {path.name for path in (tmp_path / "markers").iterdir()} == {"solo.cues.csv", "catalogue.sqlite"}


def test_a_name_that_is_no_text_gets_one_line_and_the_others_are_done(takemill, tmp_path):
    write_midi_take(tmp_path / "good.mid")
    odd = os.fsencode(tmp_path) + b"/latin\xe9.mid"
    try:
        shutil.copy(tmp_path / "good.mid", odd)
    except OSError:
        pytest.skip("this file system takes only UTF-8 names")
    done = takemill("run", tmp_path)
    assert done.returncode == 1
    assert "its name is not UTF-8 text" in done.stderr
    assert "good.mid: 6 phrases" in done.stdout


def test_an_empty_tempo_map_that_comes_later_fails_the_take(takemill, tmp_path):
    write_midi_take(tmp_path / "solo.mid")
    assert takemill("run", tmp_path).returncode == 0
    (tmp_path / "tempo.mid").touch()
    done = takemill("run", tmp_path)
    assert (done.returncode, done.stderr[:38]) == (1, "solo.mid: its tempo map tempo.mid is n")


def test_output_that_nobody_reads_to_the_end_is_no_failure(tmp_path, takemill):
    write_midi_take(tmp_path / "good.mid")
    takemill("run", tmp_path)
    for arguments in ("rank", "show good --in", "rank --format csv"):
        line = f"set -o pipefail; '{COMMAND}' {arguments} '{tmp_path}' | true"
        assert subprocess.run(["bash", "-c", line], check=False).returncode == 0


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs /dev/full")
def test_output_to_a_full_disk_is_said_in_one_line(tmp_path, takemill):
    write_midi_take(tmp_path / "good.mid")
    takemill("run", tmp_path)
    line = f"'{COMMAND}' rank '{tmp_path}' > /dev/full"
    done = subprocess.run(["bash", "-c", line], capture_output=True, text=True, check=False)
    assert (done.returncode, len(done.stderr.splitlines())) == (2, 1)
