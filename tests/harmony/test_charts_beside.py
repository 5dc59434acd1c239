"""Charts beside takes: which is whose, that they are no takes, and what a command makes of them."""

import errno
import json
import pickle
import sys
from pathlib import Path

import pytest
from sounding import write_midi_take

from batch.charts import CHART_SUFFIXES, MOST_CHART_BYTES, chart_of, is_chart_name, tells_unused
from batch.cluster.outpost import VERSION, Unseen, hear
from batch.folder import brief, content_hash, forget_settings
from batch.harmony import NoChart
from batch.harmony.reading import read_chart
from batch.hearers import Request
from batch.listen import listen
from batch.scan import scan, takes_in
from batch.settings import GridSettings, Settings, WatchSettings
from batch.watch import Watcher


def write(path: Path, content: str | bytes = "| Cmaj7 |\nrepeat\n") -> Path:
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def analysis_of(folder: Path, name: str = "solo") -> dict:
    return json.loads((folder / "markers" / f"{name}.analysis.json").read_text(encoding="utf-8"))


HELD = [(0.0, 0.3, 60), (0.5, 0.8, 62), (1.0, 1.3, 64), (1.5, 1.8, 67), (2.0, 4.9, 66), (5.0, 5.3, 64)]
"""In C at 120, a bar two seconds: a line up to an F sharp that is held through bar 2 and longer."""


def test_a_take_has_its_own_chart_or_that_of_its_folder(tmp_path):
    for_all, own = write(tmp_path / "chords.txt"), write(tmp_path / "solo.chords.xml")
    assert chart_of(tmp_path / "solo.wav", GridSettings()) == own
    assert chart_of(tmp_path / "other.wav", GridSettings()) == for_all
    named = write(tmp_path / "solo changes.txt")
    assert chart_of(tmp_path / "solo.wav", GridSettings(chart="{take} changes.txt")) == named
    assert chart_of(tmp_path / "other.wav", GridSettings(chart="{take} changes.txt")) is None


@pytest.mark.parametrize("suffix", CHART_SUFFIXES)
def test_every_kind_of_chart_is_found(tmp_path, suffix):
    chart = write(tmp_path / f"solo.chords{suffix}")
    assert chart_of(tmp_path / "solo.wav", GridSettings()) == chart
    assert is_chart_name(chart.name, Settings())


@pytest.mark.parametrize(
    "name", ["notes.txt", "mychords.txt", "chords.wav", ".chords.txt", "~chords.txt", "chords"]
)
def test_other_files_are_no_charts(name):
    assert not is_chart_name(name, Settings())


def test_a_chart_belongs_to_what_decides_how_takes_are_heard(tmp_path):
    write(tmp_path / "takemill.toml", '[takes."*"]\nchart = "{take} [v2].txt"\n')
    for name in ("solo.wav", "solo [v2].txt", "chords.txt", "readme.txt", "tune.chords.mxl"):
        (tmp_path / name).touch()
    assert [path.name for path in takes_in(tmp_path)] == ["solo.wav"]
    assert {path.name for path in scan(tmp_path).context} == {
        "takemill.toml", "solo [v2].txt", "chords.txt", "tune.chords.mxl",
    }  # fmt: skip


def test_a_chart_that_comes_changes_or_goes_makes_the_take_sound_anew(tmp_path):
    take = write(tmp_path / "solo.wav")
    recipes = [brief(take).recipe]
    for content in ("| C |", "| F |"):
        chart = write(tmp_path / "chords.txt", content)
        recipes.append(brief(take).recipe)
    assert brief(take).chart == chart
    assert len(set(recipes)) == 3
    chart.unlink()
    assert brief(take).recipe == recipes[0]


@pytest.mark.parametrize("setting", ["[tension]\nheld_weight = 0\n", "[held]\nlong_from_s = 1\n"])
def test_settings_of_tension_are_part_of_how_a_take_is_heard(tmp_path, setting):
    take = write(tmp_path / "solo.wav")
    before = brief(take)
    write(tmp_path / "takemill.toml", setting.replace("= 0", "= 0.0").replace("= 1", "= 1.0"))
    forget_settings()
    after = brief(take)
    assert after.recipe != before.recipe
    assert after.rendition == before.rendition


def test_a_watcher_reports_takes_again_when_a_chart_comes(tmp_path):
    now = [0.0]
    watcher = Watcher(tmp_path, tmp_path / "markers", WatchSettings(settle_s=2.0, poll=True), lambda: now[0])
    take = write_midi_take(tmp_path / "solo.mid")

    def ready_after(seconds: float) -> tuple[Path, ...]:
        now[0] += seconds
        watcher.look(frozenset({tmp_path / "new"}))
        now[0] += seconds
        return watcher.look(frozenset({tmp_path / "new"})).ready

    assert ready_after(3.0) == (take,)
    assert ready_after(3.0) == ()
    write(tmp_path / "solo.chords.txt")
    assert ready_after(3.0) == (take,)
    assert watcher._matters(tmp_path / "solo.chords.txt")


def test_a_held_sharp_eleven_shows_as_such(takemill, tmp_path):
    write_midi_take(tmp_path / "solo.mid", HELD)
    write(tmp_path / "solo.chords.txt")
    assert takemill("run", tmp_path).returncode == 0
    found = analysis_of(tmp_path)
    assert found["harmony"]["chart"] == "solo.chords.txt"
    assert found["harmony"]["degrees"] == ["1", "9", "3", "5", "#11", "3"]
    (held,) = found["tension"]["held"]
    assert (held["note"], held["why"], held["degree"]) == (4, ["long"], "#11")
    shown = takemill("show", tmp_path / "solo.mid").stdout
    assert "#11 (F#) over Cmaj7 at 0:02" in shown


def test_a_new_chart_is_heeded_by_the_next_run_and_a_renamed_take_takes_its_own(takemill, tmp_path):
    take = write_midi_take(tmp_path / "solo.mid", HELD)
    takemill("run", tmp_path)
    assert analysis_of(tmp_path)["harmony"] is None
    write(tmp_path / "solo.chords.txt", "| F#7 |\nrepeat")
    takemill("run", tmp_path)
    assert analysis_of(tmp_path)["harmony"]["degrees"][4] == "1"
    take.rename(tmp_path / "other.mid")
    write(tmp_path / "other.chords.txt")
    takemill("run", tmp_path)
    assert analysis_of(tmp_path, "other")["harmony"]["degrees"][4] == "#11"


def test_short_charts_and_unknown_symbols_are_told_and_the_take_goes_on(takemill, tmp_path):
    write_midi_take(tmp_path / "solo.mid", HELD)
    write(tmp_path / "chords.txt", "| Cmaj7 | Xq7 |")
    assert takemill("run", tmp_path).returncode == 0
    warnings = " ".join(analysis_of(tmp_path)["warnings"])
    assert "Xq7 in bar 2" in warnings
    assert "has 2 bars, the take runs to bar 3: bar 3 has no chords" in warnings


@pytest.mark.parametrize(
    ("name", "content", "problem"),
    [
        ("solo.chords.txt", b"\x00\x01\x02", "is no text"),
        ("solo.chords.txt", b"", "has no bars"),
        ("chords.txt", b"just words", "has no bars"),
        ("chords.txt", b"| % | F7 |", "repeats the bar before where there is none"),
        ("changes.txt", b" " * (MOST_CHART_BYTES + 1), "holds more than"),
        ("solo.chords.musicxml", b"<broken", "is no MusicXML that can be read"),
        ("solo.chords.xml", b"<!DOCTYPE html><html><body>Page</body></html>", "is no MusicXML"),
        ("chords.mxl", b"PK", "cannot be unpacked"),
    ],
)
def test_a_broken_chart_costs_no_take_and_is_heeded_once_it_is_mended(tmp_path, name, content, problem):
    if name == "changes.txt":
        write(tmp_path / "takemill.toml", f'[grid]\nchart = "{name}"\n')
        forget_settings()
    take = write_midi_take(tmp_path / "solo.mid", HELD)
    chart = write(tmp_path / name, content)
    before = brief(take)
    heard = listen(before, content_hash(take))
    assert heard.harmony is None
    assert len(heard.phrases) > 0
    (told,) = [warning for warning in heard.warnings if name in warning]
    assert told.startswith(f"chord chart {name} is not used: it {problem}")
    assert "; " in told  # what to do
    assert tells_unused(told)
    write(chart, "| F#7 |\nrepeat")
    assert brief(take).recipe != before.recipe


def test_a_run_goes_on_over_a_broken_chart_and_says_so(takemill, tmp_path):
    write_midi_take(tmp_path / "solo.mid", HELD)
    write(tmp_path / "chords.txt", "to do")
    done = takemill("run", tmp_path)
    assert done.returncode == 0
    assert "chord chart not used" in done.stdout
    write(tmp_path / "chords.txt")
    done = takemill("run", tmp_path)
    assert "chord chart not used" not in done.stdout
    assert analysis_of(tmp_path)["harmony"]["degrees"][4] == "#11"


def test_a_chart_that_may_not_be_read_is_told_and_read_once_it_may_be(tmp_path, monkeypatch):
    take = write_midi_take(tmp_path / "solo.mid", HELD)
    chart = write(tmp_path / "chords.txt")

    def refuse(*_: object) -> bytes:
        raise PermissionError(errno.EACCES, "Permission denied")

    with monkeypatch.context() as patched:
        for module in ("batch.folder", "batch.harmony.reading"):
            patched.setattr(f"{module}.read_regular", refuse)
        recipe = brief(take).recipe
        assert read_chart(chart) == NoChart(
            "chords.txt", "cannot be read (Permission denied)", "check its permissions"
        )
    assert brief(take).recipe != recipe


def test_a_lead_sheet_is_read_once_its_reader_is_installed(tmp_path, monkeypatch):
    take = write_midi_take(tmp_path / "solo.mid", HELD)
    write(tmp_path / "chords.musicxml", "<x/>")
    with monkeypatch.context() as patched:
        patched.setitem(sys.modules, "music21", None)
        recipe = brief(take).recipe
    assert brief(take).recipe != recipe


@pytest.mark.parametrize("content", ["| Cmaj7 | Xq7 |", "to do"])
def test_a_take_renamed_with_its_chart_names_it_as_it_is_called_now(takemill, tmp_path, content):
    take = write_midi_take(tmp_path / "solo 1.mid", HELD)
    chart = write(tmp_path / "solo 1.chords.txt", content)
    takemill("run", tmp_path)
    take.rename(tmp_path / "other.mid")
    chart.rename(tmp_path / "other.chords.txt")
    assert "1 written" in takemill("run", tmp_path).stdout
    found = analysis_of(tmp_path, "other")
    assert "solo 1" not in json.dumps(found)
    assert any("chord chart other.chords.txt " in warning for warning in found["warnings"])
    assert (found["harmony"] or {"chart": "other.chords.txt"})["chart"] == "other.chords.txt"


def test_a_chart_renamed_alone_is_named_anew_and_the_take_not_heard_again(tmp_path):
    take, chart = write_midi_take(tmp_path / "solo.mid", HELD), write(tmp_path / "chords.txt")
    before = brief(take)
    chart.rename(tmp_path / "solo.chords.txt")
    after = brief(take)
    assert after.recipe == before.recipe
    assert after.rendition != before.rendition


@pytest.mark.parametrize("coding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_a_chart_may_be_saved_as_editors_do(tmp_path, coding):
    text = "| C° | Fø7 |\r\n" if coding == "cp1252" else "| CΔ7 | B♭7 |\r\n"
    chart = read_chart(write(tmp_path / "chords.txt", text.encode(coding)))
    assert [change.chord is not None for bar in chart.bars for change in bar] == [True, True]
    assert chart.remarks == ()


def test_a_worker_elsewhere_that_does_not_see_the_chart_says_so(tmp_path):
    take, chart = write_midi_take(tmp_path / "solo.mid", HELD), write(tmp_path / "solo.chords.txt")
    request = Request(brief(take), content_hash(take))
    chart.unlink()
    reply = pickle.loads(hear(*VERSION, pickle.dumps(request)))
    assert reply.said == Unseen(f"cannot see {chart}")


def test_a_chart_with_another_ending_is_refused_with_what_is_allowed(takemill, tmp_path):
    write(tmp_path / "takemill.toml", '[grid]\nchart = "changes.pdf"\n')
    write_midi_take(tmp_path / "solo.mid")
    done = takemill("run", tmp_path)
    assert done.returncode == 2
    assert "grid.chart = 'changes.pdf': allowed is a file's name that ends in .txt" in done.stderr
