"""When a take counts as finished: by a clock of numbers, on files that are written as recorders do."""

import os
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event

import pytest
import soundfile
from hypothesis import given
from hypothesis import strategies as st
from recording import tone
from sounding import write_midi_take, write_tempo_map

from batch.entry import Stamp
from batch.errors import BatchError
from batch.folder import brief, forget_settings, settings_of
from batch.scan import Found, scan
from batch.settings import WatchSettings
from batch.watch import LOOK_AGAIN_S, Look, Settling, Watcher

A, B = Path("a.wav"), Path("b.wav")


def wav(path: Path) -> Path:
    soundfile.write(path, tone(0.1), 48_000)
    return path


def test_a_file_that_stands_still_for_the_settle_time_is_settled():
    before = Settling().look({A: Stamp(10, 1)}, 0.0)
    now = before.look({A: Stamp(10, 1)}, 2.0)
    assert before.settled(1.9, 2.0) == frozenset()
    assert now.settled(2.0, 2.0) == {A}


def test_growth_and_a_new_time_both_start_afresh():
    grown = Settling().look({A: Stamp(10, 1)}, 0.0).look({A: Stamp(11, 1)}, 1.5)
    touched = Settling().look({A: Stamp(10, 1)}, 0.0).look({A: Stamp(10, 2)}, 1.5)
    for settling in (grown, touched):
        assert settling.settled(2.0, 2.0) == frozenset()
        assert settling.settled(3.5, 2.0) != frozenset()


def test_a_file_that_is_gone_is_forgotten():
    gone = Settling().look({A: Stamp(1, 1), B: Stamp(1, 1)}, 0.0).look({B: Stamp(1, 1)}, 1.0)
    assert set(gone.since) == {B}


@given(st.lists(st.tuples(st.floats(0.01, 5), st.integers(0, 3)), min_size=1, max_size=30))
def test_a_settled_file_has_not_changed_within_the_settle_time(looks):
    settling, now_s, history = Settling(), 0.0, []
    for pause_s, size in looks:
        now_s += pause_s
        settling = settling.look({A: Stamp(size, 0)}, now_s)
        history.append((now_s, size))
        if settling.settled(now_s, 2.0):
            unchanged_since = min(
                t for i, (t, s) in enumerate(history) if all(later == size for _, later in history[i:])
            )
            assert now_s - unchanged_since >= 2.0


class Clock:
    """Says what it was set to."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


@dataclass
class Eyes:
    """A watcher of ``folder`` with a clock that is moved on by hand."""

    folder: Path
    settings: WatchSettings = field(default_factory=lambda: WatchSettings(settle_s=1.0, paused_s=60.0))
    clock: Clock = field(default_factory=Clock)

    def __post_init__(self) -> None:
        forget_settings()
        self.watcher = Watcher(self.folder, self.folder / "markers", self.settings, self.clock)

    def after(self, seconds: float, *changed: Path) -> list[str]:
        """Return the names of the takes that are ready after some seconds, in their order."""
        return [path.name for path in self.look(seconds, *changed).ready]

    def look(self, seconds: float, *changed: Path) -> Look:
        self.clock.now_s += seconds
        return self.watcher.look(frozenset(changed))


def test_what_lies_there_at_the_start_is_reported_once(tmp_path):
    write_midi_take(tmp_path / "one.mid")
    write_tempo_map(tmp_path / "one.tempo.mid")
    (tmp_path / ".hidden.mid").write_bytes(b"")
    (tmp_path / "one.markers.mid").write_bytes(b"")
    eyes = Eyes(tmp_path)
    assert [eyes.after(0), eyes.after(1), eyes.after(1), eyes.after(LOOK_AGAIN_S)] == [
        [],
        ["one.mid"],
        [],
        [],
    ]


def test_a_tempo_map_that_lands_later_brings_the_takes_up_again(tmp_path):
    write_midi_take(tmp_path / "one.mid")
    eyes = Eyes(tmp_path)
    assert [eyes.after(0), eyes.after(1)] == [[], ["one.mid"]]
    tempo = write_tempo_map(tmp_path / "tempo.mid")
    assert [eyes.after(0, tempo), eyes.after(1)] == [[], ["one.mid"]]


def test_settings_that_change_bring_the_takes_up_again(tmp_path):
    write_midi_take(tmp_path / "one.mid")
    eyes = Eyes(tmp_path)
    eyes.after(0), eyes.after(1)
    settings = tmp_path / "takemill.toml"
    settings.write_text("[labels]\n")
    assert [eyes.after(0, settings), eyes.after(1)] == [[], ["one.mid"]]


def before_and_after(tmp_path: Path, *lying: Path) -> tuple[Eyes, Path]:
    """Return a watcher that knows a take and what lies beside it, all of it read as when a take is heard."""
    take = write_midi_take(tmp_path / "one.mid")
    eyes = Eyes(tmp_path)
    assert [eyes.after(0, *lying), eyes.after(1)] == [[], ["one.mid"]]
    brief(take)
    return eyes, take


def written_over(path: Path, text: str, folder: Path, eyes: Eyes) -> None:
    """Write as a shell does: the watcher looks while the file is still empty."""
    path.write_text("")
    eyes.look(0, path)
    brief(folder / "one.mid")
    path.write_text(text)


def renamed_over(path: Path, text: str, folder: Path, eyes: Eyes) -> None:
    """Write as an editor does: the watcher looks while the new text has another name."""
    temporary = path.with_name("takemill.toml~1")
    temporary.write_text(text)
    eyes.look(0, temporary)
    brief(folder / "one.mid")
    temporary.replace(path)


@pytest.mark.parametrize("write", [written_over, renamed_over])
@pytest.mark.parametrize("told", [True, False])
def test_settings_that_were_there_before_are_read_again_when_they_change(tmp_path, write, told):
    settings = tmp_path / "takemill.toml"
    settings.write_text("[labels]\n")
    eyes, take = before_and_after(tmp_path)
    rendition = brief(take).rendition
    write(settings, '[markers]\nlabels = ["density"]\n', tmp_path, eyes)
    changed = [settings] if told else []
    assert eyes.after(0 if told else LOOK_AGAIN_S, *changed) == []
    brief(take)  # others are heard meanwhile
    assert eyes.after(1) == ["one.mid"]
    assert settings_of(tmp_path).markers.labels == ("density",)
    assert brief(take).rendition != rendition


def test_settings_read_in_the_instant_before_they_change_are_read_again(tmp_path, monkeypatch):
    settings = tmp_path / "takemill.toml"
    settings.write_text("[labels]\n")
    eyes, _ = before_and_after(tmp_path)
    settings.write_text("[labels]\n# again\n")

    def scanned_too_soon(folder: Path, out: Path) -> Found:
        settings_of(folder)
        settings.write_text('[markers]\nlabels = ["density"]\n')
        return scan(folder, out)

    with monkeypatch.context() as patch:
        patch.setattr("batch.watch.scan", scanned_too_soon)
        assert eyes.after(0, settings) == []
    assert eyes.after(1) == ["one.mid"]
    assert settings_of(tmp_path).markers.labels == ("density",)


def test_settings_that_change_what_a_take_is_are_followed_at_once(tmp_path):
    settings = tmp_path / "takemill.toml"
    settings.write_text("")
    write_midi_take(tmp_path / "two.mid")
    eyes = Eyes(tmp_path)
    assert [eyes.after(0), eyes.after(1)] == [[], ["two.mid"]]
    write_midi_take(tmp_path / "one.mid")
    eyes.after(0, tmp_path / "one.mid"), eyes.after(1)
    settings.write_text('[folder]\nexclude = ["two.*"]\n')
    assert eyes.look(0, settings).gone == (tmp_path / "two.mid",)
    assert eyes.after(1) == ["one.mid"]


def test_a_companion_that_goes_is_looked_for_again(tmp_path):
    click = wav(tmp_path / "one.click.wav")
    eyes, take = before_and_after(tmp_path, click)
    assert brief(take).companion == click
    click.unlink()
    assert eyes.after(0, click) == ["one.mid"]
    assert brief(take).companion is None


@pytest.mark.parametrize("name", ["tempo.mid", "one.chords.txt"])
def test_what_takes_the_place_of_another_of_the_same_time_is_read_again(tmp_path, name):
    # As a program that keeps times does, such as one that unpacks an archive.
    beside = write_tempo_map(tmp_path / name)
    eyes, take = before_and_after(tmp_path)
    recipe, time_ns = brief(take).recipe, beside.stat().st_mtime_ns
    write_tempo_map(tmp_path / ".other", tempo_bpm=90)
    os.utime(tmp_path / ".other", ns=(time_ns, time_ns))
    (tmp_path / ".other").replace(beside)
    eyes.after(0, beside)
    assert eyes.after(1) == ["one.mid"]
    assert brief(take).recipe != recipe


def test_a_change_that_no_event_told_of_is_seen_in_time(tmp_path):
    eyes = Eyes(tmp_path)
    assert eyes.after(0) == []
    write_midi_take(tmp_path / "silent.mid")
    assert eyes.after(1) == []
    assert [eyes.after(LOOK_AGAIN_S), eyes.after(1)] == [[], ["silent.mid"]]


def test_a_take_whose_permissions_are_given_back_is_reported_again(tmp_path):
    take = write_midi_take(tmp_path / "one.mid")
    eyes = Eyes(tmp_path)
    eyes.after(0), eyes.after(1)
    take.chmod(0o600)
    assert [eyes.after(0, take), eyes.after(1)] == [[], ["one.mid"]]


def test_a_take_that_goes_is_told_once(tmp_path):
    take = write_midi_take(tmp_path / "one.mid")
    eyes = Eyes(tmp_path)
    assert eyes.look(0).unfinished == (take,)
    take.unlink()
    assert [eyes.look(0.5, take).gone, eyes.look(0.5, take).gone] == [(take,), ()]


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux tells who has a file open")
def test_a_recorder_on_pause_holds_its_take_back(tmp_path):
    sound = wav(tmp_path / "other.wav").read_bytes()
    (tmp_path / "other.wav").unlink()
    eyes = Eyes(tmp_path)
    with (tmp_path / "take.mp3").open("wb") as recorder:
        recorder.write(sound)  # no header tells the length of what is only called mp3
        recorder.flush()
        assert [eyes.after(seconds) for seconds in (0, 1, 1, 30, 20)] == [[], [], [], [], []]
    assert eyes.after(0.1) == ["take.mp3"]


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux tells who has a file open")
def test_a_program_that_never_closes_its_takes_does_not_hold_them_back_for_ever(tmp_path):
    take = wav(tmp_path / "take.wav")
    eyes = Eyes(tmp_path)
    with take.open("ab"):
        assert [eyes.after(seconds) for seconds in (0, 1, 58.9)] == [[], [], []]
        assert eyes.after(0.1) == ["take.wav"]


def test_a_copy_that_stalls_before_its_end_is_held_back_for_a_while(tmp_path):
    whole = wav(tmp_path / "whole.wav").read_bytes()
    (tmp_path / "whole.wav").unlink()
    take = tmp_path / "take.wav"
    take.write_bytes(whole[:2000])
    eyes = Eyes(tmp_path)
    assert [eyes.after(seconds) for seconds in (0, 1, 3)] == [[], [], []]
    take.write_bytes(whole)
    assert [eyes.after(0, take), eyes.after(1)] == [[], ["take.wav"]]


@pytest.mark.parametrize("content", [b"", bytes(4096), b"RIFF\xff\xff\xff\x00WAVEdata\xff\xff\xff\x00"])
def test_what_stays_incomplete_is_reported_in_the_end(tmp_path, content):
    # So that its reason is told: an empty file, one reserved and never written, one cut short.
    (tmp_path / "take.wav").write_bytes(content)
    eyes = Eyes(tmp_path)
    assert [eyes.after(seconds) for seconds in (0, 1, 3.9)] == [[], [], []]
    assert eyes.after(0.1) == ["take.wav"]


def test_takes_come_by_name_or_the_newest_first_if_so_asked(tmp_path):
    for age, name in enumerate(("c", "a", "b")):
        os.utime(write_midi_take(tmp_path / f"{name}.mid"), ns=(0, 10**18 - age * 10**9))
    eyes = Eyes(tmp_path)
    assert [eyes.after(0), eyes.after(1)] == [[], ["a.mid", "b.mid", "c.mid"]]
    (tmp_path / "takemill.toml").write_text("[folder]\nnewest_first = true\n")
    eyes = Eyes(tmp_path)
    assert [eyes.after(0), eyes.after(1)] == [[], ["c.mid", "a.mid", "b.mid"]]


def test_a_folder_that_goes_is_said_and_seen_again_when_it_comes_back(tmp_path):
    folder = tmp_path / "takes"
    folder.mkdir()
    eyes = Eyes(folder)
    eyes.after(0)
    folder.rename(tmp_path / "away")
    with pytest.raises(BatchError, match="cannot be seen"):
        eyes.after(LOOK_AGAIN_S)
    write_midi_take(tmp_path / "away" / "one.mid")
    (tmp_path / "away").rename(folder)
    assert [eyes.after(0), eyes.after(1)] == [[], ["one.mid"]]


def test_a_take_left_for_later_comes_again(tmp_path):
    take = write_midi_take(tmp_path / "one.mid")
    eyes = Eyes(tmp_path)
    eyes.after(0), eyes.after(1)
    eyes.watcher.again([take], after_s=5.0)
    assert [eyes.after(4), eyes.after(1), eyes.after(9)] == [[], ["one.mid"], []]


@pytest.mark.parametrize("out", ["markers", "..", "."])
def test_events_come_at_once_and_what_is_written_makes_none(tmp_path, out):
    (tmp_path / "markers").mkdir()
    stop = Event()
    watcher = Watcher(tmp_path, tmp_path / out, WatchSettings(), time.monotonic)
    wakes = watcher.wakes(stop)
    for _ in range(3):
        next(wakes)
    (tmp_path / "markers" / "x.markers.mid").write_bytes(b"")
    write_midi_take(tmp_path / "one.mid")
    seen: set[Path] = set()
    began_s = time.monotonic()
    while not seen and time.monotonic() - began_s < 30:
        seen |= next(wakes)
    stop.set()
    wakes.close()
    assert seen == {tmp_path / "one.mid"}
