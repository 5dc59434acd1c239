"""The demo's takes stand where a listener would put them."""

import importlib.util
import json
import re
import sys
from pathlib import Path
from types import ModuleType

import pytest

from exporters.pictures.trend_picture import render_svg

DEMO = Path(__file__).parents[1] / "demo"


NUMBER = re.compile(r"-?\d+(?:\.\d+)?")


def script(name: str) -> ModuleType:
    """Load one of the demo's scripts from its file."""
    spec = importlib.util.spec_from_file_location(name, DEMO / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module  # dataclasses look their module up there
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def make_takes() -> ModuleType:
    """The script that makes the takes."""
    return script("make_takes")


@pytest.fixture(scope="module")
def evening(make_takes, takemill, tmp_path_factory) -> Path:
    """The demo evening, heard."""
    folder = tmp_path_factory.mktemp("evening")
    make_takes.make_takes(folder)
    done = takemill("run", folder)
    assert (done.returncode, done.stderr) == (0, "")
    return folder


def labels_of(evening: Path, name: str, kind: str) -> set[str]:
    analysis = json.loads((evening / "markers" / f"{name}.analysis.json").read_text())
    return {phrase["labels"][kind] for phrase in analysis["phrases"]}


def test_the_ranking_is_a_listener_s(takemill, evening):
    ranked = json.loads(takemill("rank", evening, "--format", "json").stdout)
    score = {Path(take["take"]).stem: take["score"] for take in ranked}
    assert [Path(take["take"]).stem for take in ranked[:2]] == ["everything", "talking-back"]
    assert Path(ranked[-1]["take"]).stem == "one-idea"
    assert score["one-idea"] < 5
    assert (
        max(score[name] for name in ("waterfall", "slow-lantern", "off-kilter")) < score["talking-back"] / 2
    )


@pytest.mark.parametrize(
    ("name", "kind", "expected"),
    [
        ("waterfall", "density", {"dense"}),
        ("waterfall", "length", {"long"}),
        ("slow-lantern", "density", {"sparse"}),
        ("off-kilter", "groove", {"against-groove"}),
        ("one-idea", "groove", {"in-groove"}),
        ("talking-back", "length", {"short", "long"}),
        ("everything", "groove", {"in-groove", "against-groove"}),
        ("everything", "density", {"sparse", "dense"}),
    ],
)
def test_each_take_carries_the_labels_it_was_made_for(evening, name, kind, expected):
    assert labels_of(evening, name, kind) == expected


def test_every_phrase_that_was_written_is_found(make_takes, evening):
    for tune in make_takes.TUNES:
        analysis = json.loads((evening / "markers" / f"{tune.name}.analysis.json").read_text())
        starts = [phrase["start_s"] for phrase in analysis["phrases"]]
        written = [(start + line[0][0]) * make_takes.BEAT_S for start, line in tune.phrases]
        assert starts == pytest.approx(written, abs=0.05), tune.name


def test_titles_and_dates_come_from_the_tags(evening):
    take = json.loads((evening / "markers" / "everything.analysis.json").read_text())["take"]
    assert (take["title"], take["recorded_at"]) == ("Everything at Once", "2026-03-14")


@pytest.mark.parametrize("command", [("rank",), ("show", "everything", "--in")])
def test_the_readme_shows_what_the_commands_print(takemill, evening, command):
    printed = takemill(*command, evening / "markers").stdout
    indented = "".join(f"    {line}".rstrip() + "\n" for line in printed.splitlines())
    assert indented in (DEMO.parent / "README.md").read_text(encoding="utf-8")


def test_the_pictures_in_the_readme_are_those_drawn_now(evening):
    # Hearing may differ in its last digits from one processor to another, and so a tenth of a point here.
    drawn = script("make_pictures").pictures_of(evening / "markers")
    kept = {file.name: file.read_text(encoding="utf-8") for file in (DEMO / "pictures").glob("*.svg")}
    season = script("make_season")
    drawn[season.FILE_NAME] = render_svg(season.trend(), season.TITLE)
    assert set(kept) == set(drawn)
    for name, content in drawn.items():
        assert NUMBER.sub("0", kept[name]) == NUMBER.sub("0", content.decode())
        ours, theirs = ([float(n) for n in NUMBER.findall(text)] for text in (content.decode(), kept[name]))
        assert ours == pytest.approx(theirs, abs=0.11)
        assert f"](demo/pictures/{name})" in (DEMO.parent / "README.md").read_text(encoding="utf-8")
