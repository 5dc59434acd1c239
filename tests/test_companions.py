"""Which sound is a take's companion, and that it is heard as one: by name, by the settings, by its clock."""

import json
import os
from pathlib import Path

import mir_eval
import numpy as np
import pytest
import soundfile
from sounding import RATE_HZ, write_take

from batch.companions import by_stem, companion_of, is_companion_name
from batch.errors import TakeError
from batch.folder import brief, forget_settings
from batch.scan import scan, takes_in
from batch.settings import GridSettings, Settings

TEMPO_BPM = 100.0
STARTS_S = 0.35


@pytest.fixture(autouse=True)
def afresh():
    forget_settings()
    yield
    forget_settings()


def click_at(beats_s: np.ndarray, seconds: float, every: int = 4) -> np.ndarray:
    """Return blips of 15 ms at the beats, the first of each bar a fifth higher and louder."""
    sound = np.zeros(round(seconds * RATE_HZ))
    time = np.arange(round(0.015 * RATE_HZ)) / RATE_HZ
    for i, beat_s in enumerate(beats_s):
        hz, level = (1500.0, 0.8) if i % every == 0 else (1000.0, 0.5)
        start = round(beat_s * RATE_HZ)
        blip = level * np.sin(2 * np.pi * hz * time) * np.exp(-time / 0.004)
        part = sound[start : start + len(blip)]
        part += blip[: len(part)]
    return sound


def write_click(path: Path, seconds: float = 12.0, starts_s: float = STARTS_S) -> np.ndarray:
    beats_s = np.arange(starts_s, seconds - 0.05, 60 / TEMPO_BPM)
    soundfile.write(path, click_at(beats_s, seconds), RATE_HZ)
    return beats_s


def touched(*paths: Path) -> list[Path]:
    for path in paths:
        path.touch()
    return list(paths)


@pytest.mark.parametrize("name", ["solo.click.wav", "solo.backing.mp3", "Solo.Click.FLAC", "a.b.click.ogg"])
def test_a_click_and_a_backing_are_known_by_their_endings(name):
    assert is_companion_name(name, Settings())


@pytest.mark.parametrize("name", ["solo.wav", "click.wav", "my.clicks.wav", "solo click.wav"])
def test_other_names_are_takes(name):
    assert not is_companion_name(name, Settings())


def test_the_click_comes_before_the_backing_and_each_take_has_its_own(tmp_path):
    beside = by_stem(
        touched(*(tmp_path / name for name in ("a.backing.wav", "a.click.mp3", "b.backing.wav")))
    )
    assert companion_of(tmp_path / "a.wav", GridSettings(), beside) == tmp_path / "a.click.mp3"
    assert companion_of(tmp_path / "b.wav", GridSettings(), beside) == tmp_path / "b.backing.wav"
    assert companion_of(tmp_path / "c.wav", GridSettings(), beside) is None


def test_the_settings_name_one_for_all_or_one_each(tmp_path):
    touched(tmp_path / "metronome.wav", tmp_path / "solo [2] drums.wav")
    for_all, each = GridSettings(companion="metronome.wav"), GridSettings(companion="{take} drums.wav")
    assert companion_of(tmp_path / "solo.wav", for_all, {}) == tmp_path / "metronome.wav"
    assert companion_of(tmp_path / "solo [2].wav", each, {}) == tmp_path / "solo [2] drums.wav"
    assert companion_of(tmp_path / "solo.wav", each, {}) is None
    # The companion itself is none of its own.
    assert companion_of(tmp_path / "metronome.wav", for_all, {}) is None


def test_a_companion_is_no_take_and_belongs_to_what_decides_how_takes_are_heard(tmp_path):
    (tmp_path / "takemill.toml").write_text('[takes."*"]\ncompanion = "{take} drums*.wav"\n')
    touched(
        tmp_path / "solo.wav", tmp_path / "solo drums*.wav", tmp_path / "x.click.wav", tmp_path / "drums1.wav"
    )
    assert [path.name for path in takes_in(tmp_path)] == ["drums1.wav", "solo.wav"]
    assert {path.name for path in scan(tmp_path).context} == {
        "solo drums*.wav",
        "takemill.toml",
        "x.click.wav",
    }


def test_a_companion_that_changes_makes_the_take_sound_anew(tmp_path):
    take, click = touched(tmp_path / "solo.wav", tmp_path / "solo.click.wav")
    before = brief(take)
    assert before.companion == click
    os.utime(click, ns=(1, 1))
    assert brief(take).recipe != before.recipe
    click.unlink()
    forget_settings()
    assert brief(take).companion is None


def test_a_companion_in_another_folder_is_refused_with_what_is_allowed(takemill, tmp_path):
    (tmp_path / "takemill.toml").write_text('[grid]\ncompanion = "../click.wav"\n')
    write_take(tmp_path / "solo.wav")
    done = takemill("run", tmp_path)
    assert done.returncode == 2
    assert "grid.companion = '../click.wav': allowed is a file's name" in done.stderr


def analysis_of(folder: Path, name: str = "solo") -> dict:
    return json.loads((folder / "markers" / f"{name}.analysis.json").read_text(encoding="utf-8"))


def beat_f(grid: dict, beats_s: np.ndarray) -> float:
    # mir_eval.beat.f_measure: 70 ms (Davies, Degara & Plumbley 2009).
    heard = np.array(grid["beats_s"])
    inside = heard[(heard >= 0) & (heard <= beats_s[-1] + 0.1)]
    return mir_eval.beat.f_measure(beats_s, inside)


def test_the_beats_of_a_click_beside_the_take_are_its_grid(takemill, tmp_path):
    write_take(tmp_path / "solo.wav")
    beats_s = write_click(tmp_path / "solo.click.wav")
    takemill("run", tmp_path)
    grid = analysis_of(tmp_path)["grid"]
    assert (grid["source"], grid["beats_per_bar"], grid["trusted"]) == ("companion", 4, True)
    assert grid["tempo_bpm"] == pytest.approx(TEMPO_BPM, rel=0.005)
    assert beat_f(grid, beats_s) >= 0.95
    at = int(np.argmin(np.abs(np.array(grid["beats_s"]) - STARTS_S)))
    assert grid["beat_in_bar"][at] == 1
    assert not (tmp_path / "markers" / "solo.click.analysis.json").exists()


def test_a_companion_that_starts_elsewhere_is_laid_where_the_settings_say(takemill, tmp_path):
    write_take(tmp_path / "solo.wav")
    beats_s = write_click(tmp_path / "tap.wav")
    (tmp_path / "takemill.toml").write_text('[grid]\ncompanion = "tap.wav"\ncompanion_starts_at_s = -1.1\n')
    takemill("run", tmp_path)
    assert beat_f(analysis_of(tmp_path)["grid"], (beats_s - 1.1)[beats_s > 1.1]) >= 0.95


def test_where_the_tempo_is_stated_the_companion_is_not_listened_to(takemill, tmp_path):
    write_take(tmp_path / "solo.wav")
    (tmp_path / "solo.click.wav").write_bytes(b"no sound at all")
    (tmp_path / "takemill.toml").write_text("[grid]\ntempo_bpm = 120\n")
    takemill("run", tmp_path)
    assert analysis_of(tmp_path)["grid"]["source"] == "settings"


def test_a_broken_companion_is_named_and_the_other_takes_go_on(takemill, tmp_path):
    write_take(tmp_path / "solo.wav")
    write_take(tmp_path / "other.wav")
    (tmp_path / "solo.click.wav").write_bytes(b"no sound at all")
    done = takemill("run", tmp_path)
    assert done.returncode == 1
    assert "its companion solo.click.wav" in done.stdout + done.stderr
    assert "or take it away" in done.stdout + done.stderr
    assert (tmp_path / "markers" / "other.analysis.json").exists()


def test_a_companion_that_breaks_after_the_take_was_heard_is_not_forgiven_at_the_next_run(takemill, tmp_path):
    write_take(tmp_path / "solo.wav")
    write_click(tmp_path / "solo.click.wav")
    assert takemill("run", tmp_path).returncode == 0
    (tmp_path / "solo.click.wav").write_bytes(b"no sound at all")
    for _ in range(2):
        done = takemill("run", tmp_path)
        assert done.returncode == 1
        assert "its companion solo.click.wav" in done.stdout + done.stderr


def test_a_companion_that_vanishes_between_two_looks_is_a_take_error(tmp_path, monkeypatch):
    take, click = touched(tmp_path / "solo.wav", tmp_path / "solo.click.wav")
    brief(take)
    click.unlink()
    with pytest.raises(TakeError, match="is not there any more"):
        brief(take)
