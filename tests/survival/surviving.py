"""What must be so after anything that happened to a folder of takes."""

import hashlib
import json
import signal
import sqlite3
import subprocess
from contextlib import closing
from pathlib import Path

import mido
from conftest import COMMAND

SUFFIXES = (".markers.mid", ".cues.csv", ".analysis.json")


def prints(folder: Path) -> dict[str, str]:
    """Return a fingerprint of each recording."""
    files = (path for path in folder.iterdir() if path.is_file())
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in files}


def start(command: str, folder: Path, *options: str) -> subprocess.Popen[str]:
    # Tests in the background of a shell ignore Ctrl-C, and what they start would inherit that.
    return subprocess.Popen(
        [COMMAND, command, folder, *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509  no threads here
    )


def assert_nothing_is_half(out: Path) -> None:
    """Every file that has its name is whole, whatever was killed."""
    for path in out.glob("*.analysis.json"):
        json.loads(path.read_bytes())
    for path in out.glob("*.markers.mid"):
        mido.MidiFile(path)
    for path in out.glob("*.cues.csv"):
        assert path.read_bytes().endswith(b"\r\n")


def assert_all_is_well(folder: Path, takes: set[str]) -> None:
    """Every take has all its files, the catalogue is sound, and nothing else lies about."""
    out = folder / "markers"
    assert_nothing_is_half(out)
    expected = {f"{take}{suffix}" for take in takes for suffix in SUFFIXES} | {"catalogue.sqlite"}
    assert {path.name for path in out.iterdir()} == expected
    with closing(sqlite3.connect(out / "catalogue.sqlite")) as catalogue:
        assert catalogue.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        states = dict(catalogue.execute("SELECT state, count(*) FROM takes GROUP BY state").fetchall())
    assert states == {"done": len(takes)}
