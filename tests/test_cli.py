"""The installed command, end to end."""

import csv
import io
import json
import os
import pty
import re
import shutil
import signal
import subprocess
import time
from contextlib import suppress
from pathlib import Path
from xml.etree import ElementTree

import mido
import pytest
from conftest import COMMAND
from mutagen.flac import FLAC
from sounding import line, write_midi_take, write_take, write_tempo_map

SUFFIXES = (".markers.mid", ".cues.csv", ".analysis.json")


def files_of(out: Path) -> set[str]:
    return {path.name for path in out.iterdir()}


def analysis_of(out: Path, name: str) -> dict:
    return json.loads((out / f"{name}.analysis.json").read_text())


@pytest.fixture
def gig(tmp_path: Path) -> Path:
    """A folder with an audio take, a MIDI take and a tempo map."""
    folder = tmp_path / "gig"
    folder.mkdir()
    write_take(folder / "slow.wav", line(notes=4, step_s=0.5))
    write_midi_take(folder / "quick.mid", line(notes=9, step_s=0.125))
    write_tempo_map(folder / "slow.tempo.mid")
    return folder


def test_run_writes_three_files_a_take_and_a_catalogue(takemill, gig):
    done = takemill("run", gig)
    assert (done.returncode, done.stderr) == (0, "")
    expected = {f"{name}{suffix}" for name in ("slow", "quick") for suffix in SUFFIXES}
    assert files_of(gig / "markers") == expected | {"catalogue.sqlite"}


def test_run_says_one_plain_line_a_take(takemill, gig):
    lines = takemill("run", gig).stdout.splitlines()
    assert [text.split(":")[0] for text in lines[:2]] == ["quick.mid", "slow.wav"]
    assert "6 phrases, variety" in lines[0]
    assert len(lines) == 3
    assert "\x1b" not in "".join(lines)


def test_phrases_of_a_plain_line_are_found_in_sound_and_in_midi(takemill, gig):
    takemill("run", gig)
    for name, notes, step_s in (("slow", 4, 0.5), ("quick", 9, 0.125)):
        # Arithmetic: each phrase starts a rest of 1 s after the one before it ends.
        expected = [0.5 + i * (notes * step_s + 1.0) for i in range(6)]
        found = [phrase["start_s"] for phrase in analysis_of(gig / "markers", name)["phrases"]]
        assert found == pytest.approx(expected, abs=0.05)


def test_recordings_stay_byte_for_byte_as_they_were(takemill, gig):
    before = {path.name: path.read_bytes() for path in gig.iterdir()}
    takemill("run", gig)
    assert {path.name: path.read_bytes() for path in gig.iterdir() if path.is_file()} == before


def test_the_tempo_map_beside_a_take_is_its_grid(takemill, gig):
    takemill("run", gig)
    grid = analysis_of(gig / "markers", "slow")["grid"]
    assert (grid["source"], grid["tempo_bpm"], grid["beats_per_bar"]) == ("tempo map", pytest.approx(120), 4)


def test_without_a_grid_the_groove_is_unmeasured_and_nothing_is_guessed(takemill, tmp_path):
    write_take(tmp_path / "alone.wav")
    takemill("run", tmp_path)
    analysis = analysis_of(tmp_path / "markers", "alone")
    grid = analysis["grid"]
    assert grid is None or not grid["trusted"]
    assert {p["labels"]["groove"] for p in analysis["phrases"]} == {"unmeasured"}
    assert all(p["evidence"]["duration_beats"] is None for p in analysis["phrases"])
    assert any(warning.startswith(("no grid", "beat unsure")) for warning in analysis["warnings"])


def test_the_settings_give_a_grid_by_name_pattern(takemill, tmp_path):
    write_take(tmp_path / "waltz one.wav")
    write_take(tmp_path / "other.wav")
    (tmp_path / "takemill.toml").write_text('[takes."waltz*"]\ntempo_bpm = 150\nmeter = "3/4"\n')
    takemill("run", tmp_path)
    grid = analysis_of(tmp_path / "markers", "waltz one")["grid"]
    assert (grid["source"], grid["tempo_bpm"], grid["beats_per_bar"]) == ("settings", pytest.approx(150), 3)
    other = analysis_of(tmp_path / "markers", "other")["grid"]
    assert other is None or other["source"] == "take alone"


def test_a_second_run_hears_nothing_again(takemill, gig):
    takemill("run", gig)
    stamps = {path: path.stat().st_mtime_ns for path in (gig / "markers").glob("*.json")}
    again = takemill("run", gig)
    assert again.stdout.startswith("2 heard before")
    assert {path: path.stat().st_mtime_ns for path in stamps} == stamps


def test_a_replaced_take_is_heard_again(takemill, gig):
    takemill("run", gig)
    write_take(gig / "slow.wav", line(phrases=4))
    assert "1 heard, 1 heard before" in takemill("run", gig).stdout
    assert len(analysis_of(gig / "markers", "slow")["phrases"]) == 4


def test_a_tempo_map_that_comes_later_is_heeded(takemill, tmp_path):
    write_take(tmp_path / "solo.wav")
    takemill("run", tmp_path)
    write_tempo_map(tmp_path / "tempo.mid")
    assert "1 heard" in takemill("run", tmp_path).stdout
    assert analysis_of(tmp_path / "markers", "solo")["grid"]["source"] == "tempo map"


def test_a_renamed_take_is_not_heard_again_and_leaves_no_files_behind(takemill, gig):
    takemill("run", gig)
    (gig / "quick.mid").rename(gig / "renamed.mid")
    assert "1 written again, 1 heard before" in takemill("run", gig).stdout
    assert analysis_of(gig / "markers", "renamed")["take"]["file"] == "renamed.mid"
    assert not list((gig / "markers").glob("quick*"))
    assert "quick.mid" not in takemill("rank", gig).stdout


def test_a_copied_take_is_not_heard_again(takemill, gig):
    takemill("run", gig)
    shutil.copy(gig / "quick.mid", gig / "copy.mid")
    assert "1 written again, 2 heard before" in takemill("run", gig).stdout
    assert {"quick.cues.csv", "copy.cues.csv"} <= files_of(gig / "markers")


def test_files_that_were_deleted_are_written_again(takemill, gig):
    takemill("run", gig)
    (gig / "markers" / "quick.cues.csv").unlink()
    assert "1 written again, 1 heard before" in takemill("run", gig).stdout
    assert (gig / "markers" / "quick.cues.csv").is_file()


def test_changed_export_settings_write_again_without_hearing(takemill, gig):
    takemill("run", gig)
    (gig / "takemill.toml").write_text('[cues]\nseparator = ";"\ncolumns = ["number", "start"]\n')
    assert "2 written again" in takemill("run", gig).stdout
    assert (gig / "markers" / "quick.cues.csv").read_text().startswith("number;start\n")


def test_takes_that_share_a_name_keep_their_extension(takemill, tmp_path):
    write_take(tmp_path / "solo.wav")
    takemill("run", tmp_path)
    write_take(tmp_path / "solo.flac", line(phrases=5))
    takemill("run", tmp_path)
    expected = {f"solo.{kind}{suffix}" for kind in ("wav", "flac") for suffix in SUFFIXES}
    assert files_of(tmp_path / "markers") == expected | {"catalogue.sqlite"}


def test_the_output_folder_is_never_read_for_takes(takemill, gig):
    takemill("run", gig, "--out", gig)
    assert "2 heard before" in takemill("run", gig, "--out", gig).stdout


def test_markers_name_each_phrase_where_it_starts(takemill, gig):
    takemill("run", gig)
    markers, tempo, time_s = [], 500_000, 0.0
    midi = mido.MidiFile(gig / "markers" / "quick.markers.mid")
    for message in midi.tracks[0]:
        time_s += mido.tick2second(message.time, midi.ticks_per_beat, tempo)
        if message.type == "set_tempo":
            tempo = message.tempo
        if message.type == "marker":
            markers.append((time_s, message.text))
    phrases = analysis_of(gig / "markers", "quick")["phrases"]
    assert [time for time, _ in markers] == pytest.approx([p["start_s"] for p in phrases], abs=0.001)
    assert markers[0][1].startswith("01 ")


def test_rank_puts_the_more_varied_take_first(takemill, gig):
    varied = line(phrases=4) + [(o + 12, f + 12, p + 12) for o, f, p in line(4, notes=2, step_s=1.0)]
    write_midi_take(gig / "varied.mid", varied)
    takemill("run", gig)
    rows = list(csv.DictReader(io.StringIO(takemill("rank", gig, "--format", "csv").stdout)))
    assert rows[0]["take"] == "varied.mid"
    assert [float(row["value"]) for row in rows] == sorted((float(r["value"]) for r in rows), reverse=True)


def test_rank_sorts_by_how_connected_a_take_is(takemill, gig):
    # One idea again and again, against phrases that have nothing to do with each other.
    idea = [(0, 60), (0.5, 64), (0.75, 67), (1.25, 65), (1.5, 71), (2.25, 62), (2.5, 69)]
    again = [(4.0 * i + o, 4.0 * i + o + 0.2, p + i) for i in range(6) for o, p in idea]
    write_midi_take(gig / "one-idea.mid", again)
    takemill("run", gig)
    ranked = json.loads(takemill("rank", gig, "--by", "connectedness", "--format", "json").stdout)
    assert ranked[0]["take"] == "one-idea.mid"
    assert ranked[0]["connectedness"] == ranked[0]["value"] == 100
    assert "conn" in takemill("rank", gig, "--by", "connectedness").stdout.splitlines()[0]


def test_rank_speaks_json_and_xspf(takemill, gig):
    takemill("run", gig)
    ranked = json.loads(takemill("rank", gig, "--format", "json", "--by", "length").stdout)
    assert {take["take"] for take in ranked} == {"slow.wav", "quick.mid"}
    # XSPF 1, xspf.org: playlist/trackList/track/location holds a URI.
    playlist = ElementTree.fromstring(takemill("rank", gig, "--format", "xspf").stdout)
    locations = [e.text for e in playlist.iter("{http://xspf.org/ns/0/}location")]
    assert sorted(locations) == sorted((gig / name).as_uri() for name in ("slow.wav", "quick.mid"))


def test_show_lists_the_phrases_with_their_evidence(takemill, gig):
    takemill("run", gig)
    shown = takemill("show", gig / "slow.wav").stdout
    assert "variety" in shown
    assert re.search(r"^06 +0:\d\d", shown, re.MULTILINE)
    assert takemill("show", "slow", "--in", gig).stdout == shown


def test_show_knows_a_take_by_its_title_and_asks_which_of_two(takemill, gig):
    tagged = write_take(gig / "tagged.flac")
    tags = FLAC(tagged)
    tags["title"] = "Blue Kettle"
    tags.save()
    write_midi_take(gig / "slow.mid", line(phrases=5))
    takemill("run", gig)
    assert "Blue Kettle" in takemill("show", "blue kettle", "--in", gig).stdout
    asked = takemill("show", "slow", "--in", gig)
    assert (asked.returncode, "2 takes" in asked.stderr) == (2, True)
    assert "did you mean" in takemill("show", "blue ketle", "--in", gig).stderr


def test_a_failed_take_is_shown_with_its_reason(takemill, gig):
    (gig / "broken.wav").write_text("these are not samples")
    takemill("run", gig)
    shown = takemill("show", gig / "broken.wav")
    assert (shown.returncode, shown.stderr.startswith("takemill: broken.wav: ")) == (1, True)


def test_a_deleted_take_leaves_the_ranking_and_its_files_stay(takemill, gig):
    takemill("run", gig)
    (gig / "quick.mid").unlink()
    assert "quick.mid" not in takemill("rank", gig).stdout
    assert "0 failed" in takemill("status", gig).stdout
    assert (gig / "markers" / "quick.markers.mid").is_file()


def on_a_terminal(call: list[str], columns: int) -> str:
    """Return what a command shows on a terminal of so many columns."""
    ours, its = pty.openpty()
    with os.fdopen(ours, "rb", buffering=0) as screen:
        environment = {**os.environ, "COLUMNS": str(columns)}
        process = subprocess.Popen(call, stdin=subprocess.DEVNULL, stdout=its, env=environment)
        os.close(its)
        shown = b""
        with suppress(OSError):  # Linux says so when the other side has closed
            while part := screen.read(4096):
                shown += part
        assert process.wait() == 0
    return shown.decode()


@pytest.mark.parametrize("columns", [30, 60, 80, 200])
def test_tables_fit_the_terminal_and_keep_the_names(takemill, gig, columns):
    takemill("run", gig)
    shown = on_a_terminal([COMMAND, "rank", str(gig)], columns)
    lines = [re.sub(r"\x1b\[[0-9;]*m", "", text) for text in shown.splitlines()[:3]]
    assert max(map(len, lines)) <= columns
    assert "quick.mid" in shown
    assert "slow.wav" in shown


def strip_of(shown: str) -> list[str]:
    """Return the lines of the drawn take: up to the table of phrases."""
    return shown.split("start", maxsplit=1)[0].splitlines()


@pytest.mark.parametrize("columns", [40, 80, 200])
def test_show_draws_the_take_as_wide_as_the_terminal(takemill, gig, columns):
    title = "夜の" * 4
    write_take(gig / "wide.flac", line(notes=4, step_s=0.5))
    tagged = FLAC(gig / "wide.flac")
    tagged["title"] = title
    tagged.save()
    takemill("run", gig)
    shown = re.sub(r"\x1b\[[0-9;]*m", "", on_a_terminal([COMMAND, "show", str(gig / "wide.flac")], columns))
    assert title in shown
    drawn = [text for text in strip_of(shown) if re.fullmatch(r"[ ▁▂▃▄▅▆▇█]*[▁▂▃▄▅▆▇█]", text)]
    assert drawn
    assert max(map(len, drawn)) <= columns
    numbers = " ".join(text for text in strip_of(shown) if re.fullmatch(r"[ \d]+", text))
    assert numbers.split() == ["1", "2", "3", "4", "5", "6"]


def test_colour_repeats_the_groove_on_a_terminal_alone(takemill, gig):
    takemill("run", gig)
    assert "\x1b[36m▁" in on_a_terminal([COMMAND, "show", str(gig / "slow.wav")], 80)
    assert "\x1b" not in takemill("show", gig / "slow.wav").stdout


@pytest.mark.parametrize("environment", [{"PYTHONIOENCODING": "ascii"}, {"TERM": "dumb"}])
def test_drawings_are_ascii_where_nothing_else_is_taken(takemill, gig, environment):
    takemill("run", gig)
    for command in (("rank", gig), ("show", gig / "slow.wav")):
        usual, plain = takemill(*command).stdout, takemill(*command, **environment).stdout
        assert not usual.isascii()
        assert plain.isascii()
        assert "?" not in plain
        assert len(plain.splitlines()) == len(usual.splitlines())


def test_rank_draws_ranges_and_joins_takes_not_told_apart(takemill, tmp_path):
    for name in ("one", "two"):
        write_midi_take(tmp_path / f"{name}.mid", line(notes=9, step_s=0.125))
    takemill("run", tmp_path)
    head, first, second, note = takemill("rank", tmp_path).stdout.splitlines()
    assert "0        50       100" in head
    assert (first[0], second[0]) == ("┌", "└")
    assert "●" in first
    assert note == "A bracket joins takes that are not told apart: their ranges overlap."
    by_part = takemill("rank", tmp_path, "--by", "length").stdout
    assert "●" not in by_part
    assert "┌" not in by_part


def test_a_drawing_gives_way_before_the_numbers(takemill, gig):
    takemill("run", gig)
    assert "●" in on_a_terminal([COMMAND, "rank", str(gig)], 110)
    narrow = on_a_terminal([COMMAND, "rank", str(gig)], 75)
    assert "●" not in narrow
    assert "leaps" in narrow


def test_takes_that_failed_alike_share_their_reason(takemill, gig):
    for name in ("a.wav", "b.wav"):
        (gig / name).write_text("these are not samples")
    takemill("run", gig)
    said = takemill("status", gig).stdout.splitlines()
    assert said[1].startswith("failed: 2 takes: is no sound file")
    assert said[2:] == ["  a.wav", "  b.wav"]


def test_status_counts_and_tells_why(takemill, gig):
    (gig / "broken.wav").write_text("these are not samples")
    takemill("run", gig)
    said = takemill("status", gig).stdout
    assert "0 waiting, 0 running, 2 done, 1 failed" in said
    assert "broken.wav" in said


@pytest.mark.parametrize("command", ["run", "watch", "rank", "trend", "show", "status"])
def test_help_explains_each_command_with_an_example(takemill, command):
    told = takemill(command, "--help")
    assert told.returncode == 0
    assert f"takemill {command}" in told.stdout.split("example:")[1]


def test_colour_is_left_out_elsewhere_than_on_a_terminal(takemill, gig):
    takemill("run", gig)
    for command in ("rank", "status"):
        assert "\x1b" not in takemill(command, gig).stdout


def wait_for(path: Path, seconds: float = 60) -> None:
    until = time.monotonic() + seconds
    while not path.exists():
        assert time.monotonic() < until, f"{path} did not come"
        time.sleep(0.1)


def said_until(watcher: subprocess.Popen[str], words: str) -> list[str]:
    """Return the lines that a watcher says up to the one that holds ``words``."""
    lines = [""]
    while words not in lines[-1]:
        lines.append(watcher.stdout.readline())
        assert lines[-1], f"the watcher ended without saying {words!r}: {lines}"
    return lines


@pytest.fixture
def watching(tmp_path: Path):
    """A folder under watch, with a short settle time; the watcher is stopped at the end."""
    (tmp_path / "takemill.toml").write_text("[watch]\nsettle_s = 0.5\n")
    write_midi_take(tmp_path / "before.mid")
    watcher = subprocess.Popen(
        [COMMAND, "watch", tmp_path], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    yield tmp_path, watcher
    watcher.kill()
    watcher.communicate()


def test_watch_catches_up_hears_what_lands_and_stops_when_told(watching):
    folder, watcher = watching
    heard = said_until(watcher, "before.mid: 6 phrases")
    write_midi_take(folder / "landed.mid", line(phrases=5))
    heard += said_until(watcher, "landed.mid: 5 phrases")
    watcher.send_signal(signal.SIGTERM)
    rest, _ = watcher.communicate(timeout=10)
    assert watcher.returncode == 0
    said = "".join([*heard, rest])
    assert said.count("landed.mid: 5 phrases") == 1
    assert said.count("before.mid: 6 phrases") == 1
    assert "stopped" in rest


def test_watch_started_again_does_nothing_for_takes_it_knows(takemill, watching):
    folder, watcher = watching
    said_until(watcher, "files in")
    watcher.send_signal(signal.SIGTERM)
    watcher.communicate(timeout=10)
    stamp = (folder / "markers" / "before.analysis.json").stat().st_mtime_ns
    again = subprocess.Popen([COMMAND, "watch", folder], stdout=subprocess.PIPE, text=True)
    said = said_until(again, "files in")
    again.send_signal(signal.SIGTERM)
    again.communicate(timeout=10)
    assert said[-1].startswith("1 heard before")
    assert (folder / "markers" / "before.analysis.json").stat().st_mtime_ns == stamp
    assert "0 waiting, 0 running, 1 done" in takemill("status", folder).stdout


def test_a_take_that_goes_before_it_is_finished_is_forgotten(takemill, watching):
    folder, watcher = watching
    said_until(watcher, "files in")
    (folder / "partial.mid").write_bytes(b"MThd")
    (folder / "partial.mid").unlink()
    write_midi_take(folder / "landed.mid", line(phrases=5))
    said_until(watcher, "files in")
    assert "0 waiting, 0 running, 2 done, 0 failed" in takemill("status", folder).stdout


def test_watch_goes_on_where_the_output_folder_was_removed(watching):
    folder, watcher = watching
    said_until(watcher, "files in")
    shutil.rmtree(folder / "markers")
    write_midi_take(folder / "landed.mid", line(phrases=5))
    wait_for(folder / "markers" / "landed.analysis.json")
    wait_for(folder / "markers" / "before.analysis.json")


def test_watch_does_not_hear_a_take_that_is_still_growing(watching):
    folder, _ = watching
    wait_for(folder / "markers" / "before.analysis.json")
    whole = write_midi_take(folder / "markers" / "hidden.tmp", line(phrases=7)).read_bytes()
    growing, step = folder / "growing.mid", len(whole) // 8 + 1
    with growing.open("wb") as stream:
        for start in range(0, len(whole), step):
            stream.write(whole[start : start + step])
            stream.flush()
            time.sleep(0.2)
            assert not list((folder / "markers").glob("growing*"))
    wait_for(folder / "markers" / "growing.analysis.json")
    assert len(analysis_of(folder / "markers", "growing")["phrases"]) == 7
