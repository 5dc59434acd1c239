"""The exporter that DEVELOPERS.md writes as a package of its own: built, installed and asked for."""

import importlib.util
import json
import re
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest
from sounding import line, write_midi_take

GUIDE = Path(__file__).parents[2] / "DEVELOPERS.md"

needs_pip = pytest.mark.skipif(
    importlib.util.find_spec("pip") is None, reason="pip is not in this environment"
)


def written_in_the_guide(file_name: str) -> str:
    """Return the file that the guide shows, indented, after a line that ends in its name."""
    found = re.search(rf"`{re.escape(file_name)}`:\n\n((?:    .*\n|\n)+)", GUIDE.read_text())
    assert found
    return textwrap.dedent(found[1])


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    source, target = tmp_path_factory.mktemp("takemill-words"), tmp_path_factory.mktemp("packages")
    for file_name in ("pyproject.toml", "takemill_words.py"):
        (source / file_name).write_text(written_in_the_guide(file_name))
    pip = (sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--no-build-isolation", "--no-index")
    done = subprocess.run(
        [*pip, "--target", target, source], capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stderr
    return target


@pytest.fixture
def gig(tmp_path: Path) -> Path:
    write_midi_take(tmp_path / "one.mid", line(phrases=5))
    return tmp_path


@needs_pip
def test_it_writes_a_line_a_phrase(takemill, installed, gig):
    done = takemill("run", gig, "--export", "words", PYTHONPATH=str(installed))
    assert (done.returncode, done.stderr) == (0, "")
    said = (gig / "markers" / "one.words.txt").read_text().splitlines()
    analysis = json.loads((gig / "markers" / "one.analysis.json").read_text())
    assert said[0] == "one.mid"
    assert said[1:-1] == [
        f"{number} at {phrase['start_s']:.1f} s: "
        f"{phrase['labels']['length']}, {phrase['labels']['density']}, {phrase['labels']['groove']}"
        for number, phrase in enumerate(analysis["phrases"], start=1)
    ]


@needs_pip
def test_the_settings_ask_for_it_and_its_own_are_read(takemill, installed, gig):
    settings = '[export]\nwrite = ["words"]\n\n[export.options.words]\nleast_notes = 99\n'
    (gig / "takemill.toml").write_text(settings)
    assert takemill("run", gig, PYTHONPATH=str(installed)).returncode == 0
    words = gig / "markers" / "one.words.txt"
    assert words.read_text() == "one.mid\nMade by takemill\n"
    (gig / "takemill.toml").write_text(settings.replace("99", "1"))
    assert "1 written again" in takemill("run", gig, PYTHONPATH=str(installed)).stdout
    assert len(words.read_text().splitlines()) == 7


@needs_pip
def test_its_own_wrong_setting_is_said_in_one_line_and_the_take_is_done(takemill, installed, gig):
    (gig / "takemill.toml").write_text(
        '[export]\nwrite = ["words"]\n[export.options.words]\nleast_notes = 0\n'
    )
    done = takemill("run", gig, PYTHONPATH=str(installed))
    problem = "--export words: words.least_notes = 0: allowed is a whole number of 1 or more"
    assert (done.returncode, done.stderr) == (1, f"takemill: {problem}\n")
    assert (gig / "markers" / "one.analysis.json").is_file()


def test_without_the_package_its_name_in_the_settings_is_a_mistake(takemill, gig):
    (gig / "takemill.toml").write_text('[export]\nwrite = ["words"]\n')
    done = takemill("run", gig)
    assert done.returncode == 2
    assert 'export.write.0 = \'words\': allowed is a list with one or more of "notes", "page"' in done.stderr
