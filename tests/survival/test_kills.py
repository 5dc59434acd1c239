"""Killed a hundred times at any instant, with SIGKILL, in run and in watch: nothing is lost."""

import os
import random
import signal
import time
from pathlib import Path

import pytest
from sounding import line, write_midi_take
from surviving import assert_all_is_well, assert_nothing_is_half, prints, start

KILLS = 50
"""In each of two commands."""


def one_more(folder: Path, number: int) -> None:
    """Give the folder news: a take that comes, is renamed, or is replaced."""
    write_midi_take(folder / f"take{number:02}.mid", line(phrases=4 + number % 5, step_s=0.2 + number / 1000))
    if number % 5 == 3:
        (folder / f"take{number - 1:02}.mid").rename(folder / f"again{number - 1:02}.mid")
    if number % 5 == 4:
        write_midi_take(folder / f"take{number - 3:02}.mid", line(phrases=5, step_s=0.3 + number / 1000))


@pytest.mark.parametrize("command", ["run", "watch"])
def test_a_hundred_kills_lose_nothing(takemill, tmp_path, command):
    (tmp_path / "takemill.toml").write_text("[watch]\nsettle_s = 0.1\n[session]\nwrite = false\n")
    one_more(tmp_path, 0)
    began_s = time.monotonic()
    assert takemill("run", tmp_path).returncode == 0
    whole_s = time.monotonic() - began_s
    chance = random.Random(20_26)
    for number in range(1, KILLS + 1):
        one_more(tmp_path, number)
        before = prints(tmp_path)
        victim = start(command, tmp_path)
        time.sleep(chance.uniform(0, 1.3 * whole_s))
        # The command alone, as the system kills what takes too much; or all of it, as when power goes.
        kill = os.kill if chance.random() < 0.5 else os.killpg
        kill(victim.pid, signal.SIGKILL)
        victim.communicate()
        assert prints(tmp_path) == before, "recordings stay as they are"
        assert_nothing_is_half(tmp_path / "markers")
    assert takemill("run", tmp_path).returncode == 0
    assert_all_is_well(tmp_path, {path.stem for path in tmp_path.glob("*.mid")})
