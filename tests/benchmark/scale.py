"""How what is asked of a catalogue grows with the takes it holds."""

import random
import tempfile
from collections.abc import Iterator
from pathlib import Path

import mido

from batch.catalogue_file import open_catalogue
from batch.entry import Entry, Stamp, State
from batch.folder import brief, content_hash
from batch.settings import VarietySettings
from batch.shelf import Shelf
from exporters import files_of

from .tables import Cell, Table
from .whole import COMMAND, Cost, cost_of

SIZES = (1_000, 10_000, 100_000)
KNOWN = 10_000
FOLDERS = 100
PARTS = ("length", "density", "articulation", "groove", "register", "interval_size")
_STORED_AT_ONCE = 5_000
SEED = 7


def scale_table() -> Table:
    """Return a row a command and size: an archive of FOLDERS folders, and one folder of KNOWN takes."""
    with tempfile.TemporaryDirectory() as name:
        rows = [row for size in SIZES for row in _on_an_archive(Path(name) / str(size), size)]
        rows.append(_on_known_takes(Path(name) / "known"))
    columns = ("what", "takes", "cpu s", "wall s", "peak MiB")
    remark = "One more take is a MIDI take of a few notes, in a folder of its own beside the others."
    return Table("catalogues", columns, tuple(rows), (remark,))


def _on_an_archive(root: Path, size: int) -> Iterator[tuple[Cell, ...]]:
    fill(root, size, FOLDERS)
    yield _row("rank", size, cost_of([COMMAND, "rank", root]))
    yield _row("rank --by density", size, cost_of([COMMAND, "rank", root, "--by", "density"]))
    yield _row("rank --format csv", size, cost_of([COMMAND, "rank", root, "--format", "csv"]))
    yield _row("status", size, cost_of([COMMAND, "status", root]))
    for nth in ("first", "second"):
        take = root / "new" / f"{nth}.mid"
        take.parent.mkdir(exist_ok=True)
        few_notes(take)
        yield _row(
            f"run, one more take, the {nth}", size, cost_of([COMMAND, "run", take, "--out", root / "markers"])
        )


def _on_known_takes(root: Path) -> tuple[Cell, ...]:
    fill(root, KNOWN, 1)
    return _row("run on a folder of known takes", KNOWN, cost_of([COMMAND, "run", root]))


def _row(what: str, size: int, cost: Cost) -> tuple[Cell, ...]:
    return (what, size, cost.cpu_s, cost.wall_s, cost.peak_mib)


def fill(root: Path, size: int, folders: int) -> None:
    """Make takes that are known: files with some bytes, their output files, empty, and their entries."""
    out = root / "markers"
    out.mkdir(parents=True)
    chance = random.Random(SEED)
    shelf = Shelf(out, files_of)
    with open_catalogue(out, create=True) as catalogue:
        entries = []
        for number in range(size):
            folder = root if folders == 1 else root / f"gig{number % folders:03}"
            entries.append(_known(folder, number, shelf, chance))
            if len(entries) == _STORED_AT_ONCE or number == size - 1:
                catalogue.put(*entries)
                entries.clear()


def _known(folder: Path, number: int, shelf: Shelf, chance: random.Random) -> Entry:
    folder.mkdir(exist_ok=True)
    path = folder / f"take{number:06}.wav"
    path.write_bytes(str(number).encode())
    asked = brief(path)
    for exporter in files_of(asked.settings).always:
        (shelf.folder / f"{path.stem}{exporter.suffix}").touch()
    score = chance.uniform(10, 90)
    return Entry(
        path,
        State.DONE,
        stamp=Stamp.of(path),
        content_hash=content_hash(path),
        recipe=asked.recipe,
        rendition=asked.rendition,
        name=path.stem,
        recorded_at="2026-01-01T20:00:00",
        duration_s=60.0,
        tempo_bpm=120.0,
        phrases=VarietySettings().phrases_from,
        score=score,
        low=score - 5,
        high=score + 5,
        parts={part: chance.uniform(0, 100) for part in PARTS},
    )


def few_notes(path: Path) -> None:
    """Write a MIDI take; its name's length makes each another."""
    track = mido.MidiTrack()
    for pitch in range(60, 64 + len(path.stem)):
        track += [
            mido.Message("note_on", note=pitch, time=240),
            mido.Message("note_off", note=pitch, time=200),
        ]
    midi = mido.MidiFile(type=0, ticks_per_beat=480)
    midi.tracks.append(track)
    midi.save(path)
