"""``takemill trend``, end to end."""

import json
import os
import re
import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
import soundfile
from conftest import COMMAND, Run
from mutagen.flac import FLAC
from sounding import RATE_HZ, TimedNote, line, sound_of, write_midi_take
from test_cli import on_a_terminal

SVG = "{http://www.w3.org/2000/svg}"
DAYS = ("2024-09-03", "2024-09-05", "2024-09-10", "2024-10-01", "2024-10-02", "2024-10-04", "2024-10-06")
"""Of ISO weeks 36 (two takes), 37, and 40 (four): 6 October 2024 was a Sunday."""


def high_line(seed: int, phrases: int = 9) -> list[TimedNote]:
    """Return phrases that touch the bottom of the range, and lie in its upper two thirds."""
    chance, notes, time_s = np.random.default_rng(seed), [], 0.5
    for _ in range(phrases):
        long = bool(chance.random() < 0.5)
        step_s = float(chance.choice([0.2, 0.5]))
        middle = int(chance.integers(70, 80))
        for i in range(12 if long else 5):
            pitch = 48 if i == 1 else middle + (0, 3, 5, 1, 7)[i % 5]
            notes.append((time_s + i * step_s, time_s + (i + 0.85) * step_s, pitch))
        time_s = notes[-1][1] + 1.5
    return notes


@pytest.fixture(scope="module")
def weeks(takemill: Run, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of takes from five weeks that never go low, one that failed, and one without a phrase."""
    folder = tmp_path_factory.mktemp("trend") / "Copper Kettle"
    folder.mkdir()
    for number, day in enumerate(DAYS):
        tune = "Slow Lantern" if number % 2 else "Off Kilter"
        write_midi_take(folder / f"{day} {tune} take {number}.mid", high_line(number))
    soundfile.write(folder / "silence.wav", np.zeros(RATE_HZ), RATE_HZ)
    (folder / "broken.wav").write_text("these are not samples")
    takemill("run", folder)
    return folder


def table_of(text: str) -> list[list[str]]:
    """Return the words of the lines that stand in a table."""
    return [row.split() for row in text.splitlines() if re.match(r"(week|month|day|\d{4}-)", row)]


def test_a_row_a_week_with_takes_and_what_to_practise_next(takemill, weeks):
    done = takemill("trend", weeks)
    assert (done.returncode, done.stderr) == (0, "")
    head, *rows = table_of(done.stdout)
    assert head[:3] == ["week", "from", "takes"]
    # Weeks 38 and 39 hold nothing and have no row.
    assert [row[:5] for row in rows] == [
        ["2024-W36", "2", "Sep", "2024", "2"],
        ["2024-W37", "9", "Sep", "2024", "1"],
        ["2024-W40", "30", "Sep", "2024", "4"],
    ]
    assert "Nothing low in the last 7 takes (63 phrases). Start a chorus in the bottom third" in done.stdout
    assert re.search(r"Listen first: .*\.mid at \d+:\d\d", done.stdout)


def test_what_is_left_out_and_where_dates_are_from_is_said(takemill, weeks):
    said = takemill("trend", weeks).stdout
    assert "Takes are dated: 7 by their file's or folder's name." in said
    assert "1 take without a phrase left out." in said
    assert "1 take failed; takemill status says why." in said


def test_the_output_folder_does_as_well_as_the_takes(takemill, weeks):
    assert takemill("trend", weeks / "markers").stdout == takemill("trend", weeks).stdout


@pytest.mark.parametrize(("per", "names"), [("month", ["2024-09", "2024-10"]), ("day", list(DAYS))])
def test_rows_may_be_months_or_days(takemill, weeks, per, names):
    _, *rows = table_of(takemill("trend", weeks, "--per", per).stdout)
    assert [row[0] for row in rows] == names


def test_each_tune_stands_on_its_own(takemill, weeks):
    said = takemill("trend", weeks, "--by", "tune").stdout
    # Four takes of one, three of the other, which is too few.
    assert "\nOff Kilter\n" in f"\n{said}"
    assert "With fewer than 4 takes: Slow Lantern." in said
    alone = takemill("trend", weeks, "--by", "tune", "--only", "OFF KILTER").stdout
    assert table_of(alone) == table_of(said)
    assert "1 take without" not in alone


def test_a_slip_in_a_name_is_answered(takemill, weeks):
    done = takemill("trend", weeks, "--by", "tune", "--only", "of kilter")
    assert (done.returncode, "did you mean Off Kilter?" in done.stderr) == (2, True)
    done = takemill("trend", weeks, "--by", "tune", "--only", "")
    assert (done.returncode, "--only: name a tune or a player" in done.stderr) == (2, True)
    done = takemill("trend", weeks, "--only", "Off Kilter")
    assert (done.returncode, "--by tune or --by player" in done.stderr) == (2, True)


def test_json_and_picture_say_the_same(takemill, weeks):
    found = json.loads(takemill("trend", weeks, "--format", "json").stdout)
    assert (found["schema"], found["takes"]) == ("takemill.trend/1", 7)
    (group,) = found["groups"]
    assert [period["takes"] for period in group["periods"]] == [2, 1, 4]
    root = ElementTree.fromstring(takemill("trend", weeks, "--format", "svg").stdout)
    assert root.find(f"{SVG}title").text == "Copper Kettle over time"
    assert group["practice"]["suggestions"][0]["found"] in root.find(f"{SVG}desc").text


@pytest.mark.parametrize("columns", [40, 60, 80, 200])
def test_the_table_fits_the_terminal_and_keeps_its_variety(takemill, weeks, columns):
    shown = on_a_terminal([COMMAND, "trend", str(weeks)], columns)
    lines = [re.sub(r"\x1b\[[0-9;]*m", "", text) for text in shown.splitlines()[:4]]
    assert max(map(len, lines)) <= columns
    assert "variety" in lines[0]


def test_ascii_alone_where_nothing_else_is_taken(takemill, weeks):
    said = takemill("trend", weeks, TERM="dumb").stdout
    assert said.isascii()
    assert "?" not in said


def test_asking_twice_reads_no_analysis_again_and_says_the_same(takemill, weeks, tmp_path):
    folder = tmp_path / "gig"
    shutil.copytree(weeks, folder)
    first = takemill("trend", folder).stdout
    for path in (folder / "markers").glob("*.analysis.json"):
        path.unlink()
    assert takemill("trend", folder).stdout == first


def test_a_take_that_was_deleted_leaves_the_trend(takemill, weeks, tmp_path):
    folder = tmp_path / "gig"
    shutil.copytree(weeks, folder)
    for day in DAYS[3:]:
        next(folder.glob(f"{day}*")).unlink()
    said = takemill("trend", folder).stdout
    assert said.startswith("3 takes are too few for a trend; 4 or more are needed.")


def test_a_take_whose_analysis_is_gone_is_counted(takemill, weeks, tmp_path):
    folder = tmp_path / "gig"
    shutil.copytree(weeks, folder)
    next((folder / "markers").glob("2024-09-03*.analysis.json")).unlink()
    with sqlite3.connect(folder / "markers" / "catalogue.sqlite") as catalogue:
        catalogue.execute("DELETE FROM outlines")
    said = takemill("trend", folder).stdout
    assert "1 take whose analysis is gone left out; takemill run makes it anew." in said


def test_where_nothing_was_heard_it_says_so_as_rank_does(takemill, tmp_path):
    asked, ranked = takemill("trend", tmp_path), takemill("rank", tmp_path)
    assert (asked.returncode, asked.stderr) == (2, ranked.stderr)
    assert "nothing was heard here yet" in asked.stderr


def test_one_take_is_too_few_in_every_format(takemill, tmp_path):
    write_midi_take(tmp_path / "solo.mid")
    takemill("run", tmp_path)
    done = takemill("trend", tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.splitlines()[0] == "1 take is too few for a trend; 4 or more are needed."
    found = json.loads(takemill("trend", tmp_path, "--format", "json").stdout)
    assert (found["groups"], found["why_null"][:6]) == ([], "1 take")
    root = ElementTree.fromstring(takemill("trend", tmp_path, "--format", "svg").stdout)
    assert any("1 take is too few" in (text.text or "") for text in root.iter(f"{SVG}text"))


@pytest.fixture
def locked(weeks: Path, tmp_path: Path) -> Iterator[Path]:
    """The same takes in a catalogue that another program is writing to."""
    folder = tmp_path / "gig"
    shutil.copytree(weeks, folder)
    with sqlite3.connect(folder / "markers" / "catalogue.sqlite") as catalogue:
        catalogue.execute("DELETE FROM outlines")
        catalogue.commit()
        catalogue.execute("BEGIN IMMEDIATE")
        yield folder
        catalogue.rollback()


def test_while_another_writes_the_trend_can_still_be_asked_for(takemill, weeks, locked):
    assert takemill("trend", locked).stdout == takemill("trend", weeks).stdout


def test_a_damaged_catalogue_is_made_anew(takemill, weeks, tmp_path):
    folder = tmp_path / "gig"
    shutil.copytree(weeks, folder)
    (folder / "markers" / "catalogue.sqlite").write_bytes(b"no catalogue at all" * 500)
    done = takemill("trend", folder)
    assert done.returncode == 0
    assert table_of(done.stdout) == table_of(takemill("trend", weeks).stdout)
    assert list((folder / "markers").glob("catalogue.damaged-*.sqlite"))


def tagged(path: Path, seed: int, **tags: str) -> None:
    soundfile.write(path, sound_of(line(phrases=4 + seed % 2)), RATE_HZ)
    file = FLAC(path)
    for name, text in tags.items():
        file[name] = text
    file.save()


def test_tags_tell_tune_player_and_date_whatever_is_in_them(takemill, tmp_path):
    hostile = "\x1b[31m<b>&\u202e夜"
    dates = ("2024-11-05", "2024", "soon\n", "1970-01-01", "2999-01-01")
    for number, date in enumerate(dates):
        path = tmp_path / f"t{number}.flac"
        tagged(path, number, title=f"Lantern take {number}", artist=hostile, date=date)
        when = 1_730_000_000 + 700_000 * number  # from 27 October 2024 on
        os.utime(path, (when, when))
    takemill("run", tmp_path)
    done = takemill("trend", tmp_path, "--by", "player", "--per", "month")
    assert done.returncode == 0
    assert "\x1b" not in done.stdout
    assert "\u202e" not in done.stdout
    assert done.stdout.splitlines()[0] == "[31m<b>& 夜"
    found = json.loads(takemill("trend", tmp_path, "--by", "tune", "--format", "json").stdout)
    assert [group["name"] for group in found["groups"]] == ["Lantern"]
    assert found["dated_by"] == {"recording": 1, "file": 4}
    svg = takemill("trend", tmp_path, "--by", "player", "--format", "svg").stdout
    assert not list(ElementTree.fromstring(svg).iter(f"{SVG}b"))


def test_a_pattern_in_the_settings_names_tunes_and_players(takemill, weeks, tmp_path):
    folder = tmp_path / "gig"
    shutil.copytree(weeks, folder)
    (folder / "takemill.toml").write_text('[trend]\nnames = "{date} {player} {tune} take *"\n')
    found = json.loads(takemill("trend", folder, "--by", "player", "--format", "json").stdout)
    assert [(group["name"], len(group["takes"])) for group in found["groups"]] == [("Off", 4)]
    assert found["groups"][0]["takes"][0]["tune"] == "Kilter"
    # It is no reason to hear or write anything again.
    assert "8 heard before" in takemill("run", folder).stdout


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('names = "{tun} *"', "trend.names = '{tun} *': allowed is a pattern with {tune}, {player}"),
        ("takes_from = 1", "trend.takes_from = 1: allowed is a whole number of 2 or more"),
        ("takes_fro = 4", "trend.takes_fro: no such setting; did you mean takes_from?"),
    ],
)
def test_a_mistake_in_the_settings_is_one_clear_line(takemill, weeks, tmp_path, text, told):
    folder = tmp_path / "gig"
    shutil.copytree(weeks, folder)
    (folder / "takemill.toml").write_text(f"[trend]\n{text}\n")
    done = takemill("trend", folder)
    assert done.returncode == 2
    assert told in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_settings_that_draw_other_lines_are_said_and_not_compared(takemill, weeks, tmp_path):
    folder = tmp_path / "gig"
    shutil.copytree(weeks, folder)
    (folder / "takemill.toml").write_text("[labels]\nlow_below = 0.2\n")
    said = takemill("trend", folder).stdout
    assert "The settings draw their own lines for register: no suggestions about that." in said
    assert "Nothing low" not in said


@pytest.mark.parametrize(
    ("pattern", "note"),
    [
        ("{date} OFF {tune} take *", "[trend] names fits 4 of 7 takes."),
        ("solo {tune}", "[trend] names fits 0 of 7 takes."),
        ("{date} {tune} Take *", None),
    ],
)
def test_a_pattern_that_does_not_fit_all_takes_is_said(takemill, weeks, tmp_path, pattern, note):
    folder = tmp_path / "gig"
    shutil.copytree(weeks, folder)
    (folder / "silence.wav").unlink()
    (folder / "takemill.toml").write_text(f"[trend]\nnames = '{pattern}'\n")
    said = takemill("trend", folder).stdout
    assert [text for text in said.splitlines() if "names fits" in text] == ([note] if note else [])


def test_the_folder_of_all_takes_is_nobody_and_folders_of_dates_neither(takemill, tmp_path):
    for number in range(8):
        folder = tmp_path / ("Ada Quill" if number % 2 else "") / f"2024-09-0{1 + number}"
        folder.mkdir(parents=True)
        write_midi_take(folder / "solo.mid", high_line(number, 4))
    (tmp_path / "takemill.toml").write_text("[folder]\nsubfolders = true\n")
    takemill("run", tmp_path)
    found = json.loads(takemill("trend", tmp_path, "--by", "player", "--format", "json").stdout)
    assert [(group["name"], len(group["takes"])) for group in found["groups"]] == [("Ada Quill", 4)]
    assert found["without_name"] == 4
    assert found["groups"][0]["takes"][0]["file"] == "Ada Quill/2024-09-02/solo.mid"
