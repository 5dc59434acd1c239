"""Exporters of other packages that fail, each in its own way: one line, and every other file is written."""

from pathlib import Path

import pytest
from sounding import write_midi_take

from brought.bringing import bring

MAIN = {"one.analysis.json", "one.cues.csv", "one.markers.mid"}

GOOD = """
from dataclasses import dataclass
from exporters.base import Extra

@dataclass(frozen=True)
class Plain:
    suffix: str = ".plain.txt"
    def render(self, analysis):
        return b"Made by takemill"

EXTRA = Extra(of_take=lambda _: Plain({suffix}))
"""


WHOLE = """
from exporters.base import Extra

class Whole:
    file_name = "{}"

EXTRA = Extra(of_takes=(Whole(),))
"""


@pytest.fixture
def gig(tmp_path: Path) -> Path:
    folder = tmp_path / "gig"
    folder.mkdir()
    write_midi_take(folder / "one.mid")
    return folder


def written(gig: Path) -> set[str]:
    return {path.name for path in (gig / "markers").iterdir()} - {"catalogue.sqlite"}


def test_what_fails_over_a_take_costs_that_file_alone_and_is_tried_again(takemill, tmp_path, gig):
    code = GOOD.format(suffix="").replace(
        'return b"Made by takemill"', "return bytes(analysis.no_such_field)"
    )
    packages = bring(tmp_path / "packages", "plain", "plain_words", code)
    for _ in range(2):
        done = takemill("run", gig, "--export", "plain", "--export", "notes", PYTHONPATH=str(packages))
        assert done.returncode == 1
        (line,) = done.stderr.splitlines()
        assert line.startswith(
            f"one.mid: {gig / 'markers' / 'one.plain.txt'}: not written: its exporter fails"
        )
        assert "AttributeError" in line
        assert "plain_words.py, line 9" in line
        assert written(gig) == MAIN | {"one.notes.mid"}
    (packages / "plain_words.py").write_text(GOOD.format(suffix=""))
    done = takemill("run", gig, "--export", "plain", PYTHONPATH=str(packages))
    assert (done.returncode, done.stderr) == (0, "")
    assert written(gig) == MAIN | {"one.notes.mid", "one.plain.txt"}


@pytest.mark.parametrize(
    ("code", "said"),
    [
        ("import no_such_module", "fails (ModuleNotFoundError"),
        ("EXTRA = 3", "fails (TypeError: plain_words:EXTRA is no exporters.base.Extra)"),
        ("raise SystemExit(7)", "fails (SystemExit: 7)"),
        (GOOD.format(suffix="'.cues.csv'"), "'.cues.csv', which is taken"),
        (GOOD.format(suffix="'.csv'"), "'.csv', which is taken"),
        (GOOD.format(suffix="'.my.cues.csv'"), "'.my.cues.csv', which is taken"),
        (GOOD.format(suffix="'/../../away.txt'"), "which is no ending such as .words.txt"),
        (GOOD.format(suffix="'.a:b'"), "which is no ending such as .words.txt"),
        (GOOD.format(suffix="'.' + 32 * 'x'"), "longer than 32 characters"),
        (GOOD.format(suffix="'.plain.mid'"), "as takes do; it must be like .words-markers.mid"),
        (GOOD.format(suffix="1 / 0"), "fails (ZeroDivisionError"),
        (GOOD.format(suffix="None"), "fails (TypeError: None is no file's name or ending)"),
        (GOOD.format(suffix="").replace("of_take=lambda _: Plain()", "of_takes=3"), "fails (TypeError"),
        (WHOLE.format("Playlist.xspf"), "writes to 'Playlist.xspf', which is taken or no name"),
        (WHOLE.format("../away.txt"), "writes to '../away.txt', which is taken or no name"),
        (WHOLE.format("listen.html"), "writes to 'listen.html', which is taken or no name"),
        (WHOLE.format("all.wav"), "writes to 'all.wav', which is taken or no name"),
    ],
)
def test_what_cannot_be_loaded_or_has_no_name_to_write_to_is_said_once(takemill, tmp_path, gig, code, said):
    write_midi_take(gig / "two.mid")
    packages = bring(tmp_path / "packages", "plain", "plain_words", code)
    done = takemill("run", gig, "--export", "plain", PYTHONPATH=str(packages))
    assert done.returncode == 1
    (line,) = done.stderr.splitlines()
    assert line.startswith("takemill: --export plain: the exporter of the package plain_words ")
    assert said in line
    assert len(written(gig)) == 2 * len(MAIN)
    quiet = takemill("run", gig, PYTHONPATH=str(packages))  # nobody asks for it
    assert (quiet.returncode, quiet.stderr) == (0, "")


@pytest.mark.parametrize(
    ("does", "said"),
    [
        ("import sys; sys.exit(3)", "its exporter fails (SystemExit: 3"),
        ("return 'text'", "its exporter made str, not bytes"),
        ("return b'nobody made it'", "its exporter does not put 'Made by takemill' near its start or end"),
        ("raise Odd", "its exporter fails (Odd; "),
        ("open('/no/such/template')", "/no/such/template cannot be read (No such file or directory)"),
    ],
)
def test_whatever_an_exporter_does_the_takes_go_on(takemill, tmp_path, gig, does, said):
    write_midi_take(gig / "two.mid")
    odd = "class Odd(Exception):\n    def __str__(self):\n        return 1 / 0\n"
    code = odd + GOOD.format(suffix="").replace('return b"Made by takemill"', does)
    packages = bring(tmp_path / "packages", "plain", "plain_words", code)
    done = takemill("run", gig, "--export", "plain", PYTHONPATH=str(packages))
    assert done.returncode == 1
    assert [said in line for line in done.stderr.splitlines()] == [True, True]
    assert "2 lacking a file on request" in done.stdout
    assert len(written(gig)) == 2 * len(MAIN)


def test_exporters_that_write_to_one_name_are_told_apart(takemill, tmp_path, gig):
    first = bring(tmp_path / "first", "plain", "plain_words", GOOD.format(suffix=""))
    second = bring(tmp_path / "second", "plainer", "plainer_words", GOOD.format(suffix="'.PLAIN.txt'"))
    asked = ("run", gig, "--export", "plain", "--export", "plainer")
    done = takemill(*asked, PYTHONPATH=f"{first}:{second}")
    assert done.returncode == 1
    assert "--export plainer: the exporter of the package plainer_words writes to names" in done.stderr
    assert written(gig) == MAIN | {"one.plain.txt"}


def test_two_packages_that_bring_one_name_are_both_named(takemill, tmp_path, gig):
    first = bring(tmp_path / "first", "plain", "plain_words", GOOD.format(suffix=""))
    second = bring(tmp_path / "second", "plain", "other_words", GOOD.format(suffix="'.other.txt'"))
    done = takemill("run", gig, "--export", "plain", PYTHONPATH=f"{first}:{second}")
    assert done.returncode == 1
    said = "the package other_words, the package plain_words both bring it; keep one of them installed"
    assert done.stderr == f"takemill: --export plain: {said}\n"


def test_a_file_that_could_be_a_take_by_its_kind_is_not_taken_for_one(takemill, tmp_path, gig):
    packages = bring(
        tmp_path / "packages", "plain", "plain_words", GOOD.format(suffix="'.plain-markers.mid'")
    )
    asked = ("run", gig, "--out", gig, "--export", "plain")
    assert takemill(*asked, PYTHONPATH=str(packages)).returncode == 0
    assert (gig / "one.plain-markers.mid").is_file()
    again = takemill("run", gig, "--out", gig)  # its package gone meanwhile
    assert again.stdout == f"1 heard before; files in {gig}\n"


def test_a_name_of_takemills_own_stays_its_own(takemill, tmp_path, gig):
    packages = bring(tmp_path / "packages", "notes", "plain_words", GOOD.format(suffix=""))
    assert takemill("run", gig, "--export", "notes", PYTHONPATH=str(packages)).returncode == 0
    assert written(gig) == MAIN | {"one.notes.mid"}


def test_a_file_for_all_takes_that_fails_leaves_the_others(takemill, tmp_path, gig):
    code = """
from dataclasses import dataclass
from exporters.base import Extra

@dataclass(frozen=True)
class Whole:
    file_name: str = "whole.txt"
    def render(self, overview):
        return overview.no_such_field

@dataclass(frozen=True)
class Session:
    suffix: str = ".session-plain.txt"
    def render(self, layout):
        return b"Made by takemill " + str(len(layout.takes)).encode()

EXTRA = Extra(of_takes=(Whole(),), of_session=lambda _: Session())
"""
    packages = bring(tmp_path / "packages", "plain", "plain_words", code)
    done = takemill("run", gig, "--export", "plain", "--export", "picture", PYTHONPATH=str(packages))
    assert done.returncode == 1
    (line,) = done.stderr.splitlines()
    assert f"{gig / 'markers' / 'whole.txt'}: not written: its exporter fails (AttributeError" in line
    assert written(gig) == MAIN | {"phrases.svg", "one.phrases.svg", "gig.session-plain.txt"}
    assert (gig / "markers" / "gig.session-plain.txt").read_text() == "Made by takemill 1"
