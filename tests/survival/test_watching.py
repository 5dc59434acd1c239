"""A watcher and what happens to a folder under it, through the installed command."""

import os
import shutil
import signal
import time
from pathlib import Path
from threading import Timer

import pytest
import soundfile
from reading import markers_by_mido
from sounding import RATE_HZ, line, sound_of, write_midi_take, write_take
from surviving import SUFFIXES, assert_all_is_well, start

SETTLE_S = 0.5
PATIENCE_S = 240.0
"""After which a watcher that does not say what is waited for is killed."""


class Watched:
    """A folder under watch, and what the watcher said."""

    def __init__(self, folder: Path, settings: str = "") -> None:
        self.folder, self.out = folder, folder / "markers"
        (folder / "takemill.toml").write_text(f"[watch]\nsettle_s = {SETTLE_S}\n{settings}")
        self.process = start("watch", folder)
        self.said: list[str] = []
        self.limit = Timer(PATIENCE_S, os.killpg, (self.process.pid, signal.SIGKILL))
        self.limit.daemon = True
        self.limit.start()
        self.until("watching ")

    def until(self, words: str) -> str:
        while True:
            line_ = self.process.stdout.readline()
            assert line_, f"the watcher ended without saying {words!r}: {self.said}"
            self.said.append(line_)
            if words in line_:
                return line_

    def stop(self, how: signal.Signals = signal.SIGTERM) -> None:
        began_s = time.monotonic()
        self.process.send_signal(how)
        self.limit.cancel()
        rest, _ = self.process.communicate(timeout=30)
        assert time.monotonic() - began_s < 5 * slowness(), "ends within seconds"
        assert self.process.returncode == 0
        self.said += rest.splitlines()
        assert not any("Traceback" in line_ for line_ in self.said)

    def count(self, words: str) -> int:
        return sum(words in line_ for line_ in self.said)


def slowness() -> float:
    """Return how much longer things may take on a machine that others use too."""
    return max(1.0, os.getloadavg()[0])


@pytest.fixture
def watched(tmp_path: Path):
    found = Watched(tmp_path)
    yield found
    if found.process.poll() is None:
        os.killpg(found.process.pid, signal.SIGKILL)
        found.process.communicate()


def test_a_recorder_that_pauses_and_patches_its_header_at_the_end_is_heard_once(watched):
    # As recorders do: the length in the header is 0 until the end.
    whole = write_take(watched.folder / "markers" / "x.tmp.wav").read_bytes()
    take = watched.folder / "take.wav"
    with take.open("wb") as recorder:
        recorder.write(whole[:4] + bytes(4) + whole[8:40] + bytes(4))
        for part in range(44, len(whole), len(whole) // 3):
            recorder.write(whole[part : part + len(whole) // 3])
            recorder.flush()
            time.sleep(3 * SETTLE_S)
            assert not list(watched.out.glob("take.*"))
        recorder.seek(4)
        recorder.write(whole[4:8])
        recorder.seek(40)
        recorder.write(whole[40:44])
    watched.until("take.wav: 6 phrases")
    (watched.out / "x.tmp.wav").unlink()
    watched.stop()
    assert watched.count("take.wav") == 1
    assert_all_is_well(watched.folder, {"take"})


def test_a_recorder_that_writes_to_another_name_and_renames_is_heard_once(watched):
    hidden = write_midi_take(watched.folder / ".take.mid.part")
    time.sleep(2 * SETTLE_S)
    hidden.rename(watched.folder / "take.mid")
    watched.until("take.mid: 6 phrases")
    watched.stop()
    assert watched.count("take") == 1


def test_a_file_that_is_reserved_first_and_filled_later_is_heard_once(watched):
    whole = write_take(watched.folder / "x.part.wav").read_bytes()
    (watched.folder / "x.part.wav").unlink()
    take = watched.folder / "take.wav"
    take.write_bytes(bytes(len(whole)))
    time.sleep(2 * SETTLE_S)
    with take.open("r+b") as recorder:
        recorder.write(whole)
    watched.until("take.wav: 6 phrases")
    watched.stop()
    assert watched.count("take.wav") == 1


def test_a_slow_copy_over_a_network_that_stalls_is_heard_once(watched):
    # Nobody here has it open: each piece is written by another machine.
    whole = write_take(watched.folder / "x.part.wav").read_bytes()
    (watched.folder / "x.part.wav").unlink()
    for end in (1000, len(whole) // 2, len(whole)):
        (watched.folder / "take.wav").write_bytes(whole[:end])
        time.sleep(2 * SETTLE_S)
    watched.until("take.wav: 6 phrases")
    watched.stop()
    assert watched.count("take.wav") == 1


def test_renamed_copied_replaced_and_deleted(watched):
    """The table in the README, row by row."""
    folder = watched.folder
    for name, phrases in (("a", 4), ("b", 5), ("c", 6), ("d", 7)):
        write_midi_take(folder / f"{name}.mid", line(phrases=phrases))
    for _ in range(4):
        watched.until(" phrases, ")
    (folder / "a.mid").rename(folder / "renamed.mid")
    watched.until("renamed.mid: 4 phrases")
    assert "written again" in watched.said[-1], "not heard again"
    assert not list(watched.out.glob("a.*")), "its files have its new name"
    shutil.copy(folder / "b.mid", folder / "copied.mid")
    assert "written again" in watched.until("copied.mid: 5 phrases")
    write_midi_take(folder / "c.mid", line(phrases=8))
    assert "written again" not in watched.until("c.mid: 8 phrases")
    (folder / "d.mid").unlink()
    (folder / "b.mid").rename(folder / "swap")
    (folder / "c.mid").rename(folder / "b.mid")
    (folder / "swap").rename(folder / "c.mid")
    for words in ("b.mid: 8 phrases", "c.mid: 5 phrases"):
        if not watched.count(words):
            watched.until(words)
    assert not any("c.mid: 5" in said and "written again" not in said for said in watched.said)
    watched.stop()
    for suffix in SUFFIXES:
        assert (watched.out / f"d{suffix}").exists(), "the files of a deleted take stay"


def test_a_second_watcher_on_the_folder_says_so_and_ends(takemill, watched):
    second = takemill("watch", watched.folder)
    assert (second.returncode, len(second.stderr.splitlines())) == (2, 1)
    assert "another takemill is watching here already" in second.stderr
    write_midi_take(watched.folder / "take.mid")
    watched.until("take.mid: 6 phrases")
    watched.stop()


def test_status_tells_from_elsewhere_what_goes_on(takemill, watched):
    write_midi_take(watched.folder / "take.mid")
    watched.until("files in")
    said = takemill("status", watched.folder).stdout
    assert f"watching: {watched.folder}, process {watched.process.pid} on " in said
    assert "0 waiting, 0 running, 1 done, 0 failed" in said
    watched.stop()
    assert "watching" not in takemill("status", watched.folder).stdout


def test_a_run_beside_a_watcher_does_its_work(takemill, watched):
    write_midi_take(watched.folder / "take.mid")
    watched.until("files in")
    (watched.out / "take.cues.csv").unlink()
    assert "1 written again" in takemill("run", watched.folder).stdout
    watched.stop()
    assert_all_is_well(watched.folder, {"take"})


def test_a_mistake_in_the_settings_is_said_and_mended_while_it_watches(watched):
    settings = watched.folder / "takemill.toml"
    right = settings.read_text()
    settings.write_text(f"{right}[grid]\ntempo = 3\n")
    time.sleep(2 * SETTLE_S)
    write_midi_take(watched.folder / "take.mid")
    watched.until("grid.tempo: no such setting")
    settings.write_text(right)
    watched.until("take.mid: 6 phrases")
    watched.stop()
    assert watched.count("no such setting") == 1


def marker_words(out: Path) -> set[str]:
    return {
        word for _, text in markers_by_mido((out / "take.markers.mid").read_bytes()) for word in text.split()
    }


@pytest.mark.parametrize("how", ["written over", "renamed over"])
def test_settings_that_change_while_it_watches_are_followed(watched, how):
    settings = watched.folder / "takemill.toml"
    write_midi_take(watched.folder / "take.mid")
    watched.until("1 heard;")
    assert marker_words(watched.out) & {"long", "short"}
    text = f'{settings.read_text()}[markers]\nlabels = ["density"]\n'
    if how == "written over":
        settings.write_text(text)
    else:
        (watched.folder / "takemill.toml.new").write_text(text)
        (watched.folder / "takemill.toml.new").replace(settings)
    watched.until("1 written again;")
    assert not marker_words(watched.out) & {"long", "short"}
    watched.stop()
    assert watched.count("heard before") == 0


def test_the_files_about_all_takes_are_never_without_a_take_that_is_worked_on_again(tmp_path):
    settings = "[page]\nwrite = true\n[session]\nwrite = true\n"
    watched = Watched(tmp_path, settings)
    write_midi_take(tmp_path / "take.mid")
    watched.until("listen.html: 1 take ")
    (tmp_path / "take.mid").rename(tmp_path / "renamed.mid")
    watched.until("renamed.mid: 6 phrases")
    watched.until("listen.html: 1 take ")
    watched.stop()
    write_midi_take(tmp_path / "renamed.mid", line(phrases=8))
    again = Watched(tmp_path, settings)
    again.until("renamed.mid: 8 phrases")
    again.until("listen.html: 1 take ")
    again.stop()
    assert watched.count("0 takes") + again.count("0 takes") == 0


def test_a_folder_that_goes_and_comes_back_is_watched_on(watched):
    away = watched.folder.with_name("away")
    watched.folder.rename(away)
    watched.until("cannot be seen")
    write_midi_take(away / "take.mid")
    away.rename(watched.folder)
    watched.until("take.mid: 6 phrases")
    watched.stop()


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_it_stops_within_seconds_in_the_middle_of_a_take(takemill, watched, how):
    notes = line(phrases=400)
    soundfile.write(watched.folder / "long.wav", sound_of(notes), RATE_HZ)
    until = time.monotonic() + 60 * slowness()
    while "1 running" not in takemill("status", watched.folder).stdout:
        assert time.monotonic() < until
        time.sleep(0.2)
    watched.stop(how)
    assert "1 waiting, 0 running, 0 done" in takemill("status", watched.folder).stdout
    assert sorted(path.name for path in watched.out.iterdir()) == ["catalogue.sqlite"]


def test_subfolders_are_watched_if_so_set_and_new_ones_are_seen(tmp_path):
    watched = Watched(tmp_path, '[folder]\nsubfolders = true\nexclude = ["old"]\n')
    for folder in ("friday", "friday/late", "old"):
        (tmp_path / folder).mkdir()
        write_midi_take(tmp_path / folder / f"{Path(folder).name}.mid")
    for name in ("friday.mid", "late.mid"):
        if not watched.count(name):
            watched.until(name)
    watched.stop()
    assert watched.count("old.mid") == 0
    assert {path.name for path in watched.out.glob("*.cues.csv")} == {"friday.cues.csv", "late.cues.csv"}
