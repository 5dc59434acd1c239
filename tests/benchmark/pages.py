"""Pages and pictures: what they add to a run, and what it costs to keep the index of many takes."""

import random
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import TypeVar

import soundfile as sf

from batch.catalogue import Catalogue
from batch.catalogue_file import open_catalogue
from batch.entry import Entry
from batch.gallery import Gallery
from batch.model import Density, Groove, Labels, Length
from batch.outline import FORMAT, Outline, PhraseOutline, Spot, dump_outline
from batch.settings import Settings
from batch.shelf import Shelf
from exporters import files_of, overview_exporters_for

from .making.takes import Store
from .scale import few_notes, fill
from .speed import made_takes
from .tables import Cell, Table
from .whole import COMMAND, Cost, cost_of

ASKED = ("--export", "page", "--export", "picture")
LISTED = 1_000
PHRASES = 12  # of a take: two minutes at the corpus' pace
SEED = 7
ROUNDS = 3
LATER = "the same for known takes"

T = TypeVar("T")


def pages_tables(store: Store, data: Path) -> Iterator[Table]:
    """Yield what pages and pictures add to a run, then the index of LISTED takes."""
    with tempfile.TemporaryDirectory() as name:
        rows = tuple(_on_a_folder(Path(name), store, data))
    columns = ("what", "sound s", "cpu s", "wall s", "cpu ratio", "to")
    remark = f"The quickest of {ROUNDS} rounds, in which all take turns."
    yield Table("pages and pictures", columns, rows, (remark,))
    with tempfile.TemporaryDirectory() as name:
        rows = tuple(_index(Path(name)))
    remark = (
        "From within: the catalogue's answers, outlines and the folder's list; then each file of the index."
    )
    yield Table("index", ("what", "takes", "cpu s", "wall s", "KiB"), rows, (remark,))


def _on_a_folder(folder: Path, store: Store, data: Path) -> Iterator[tuple[Cell, ...]]:
    takes = folder / "takes"
    takes.mkdir()
    for path in sorted((data / "takes").glob("*.flac")) or made_takes(folder / "made", store):
        shutil.copy(path, takes)
    sound_s = sum(sf.info(path).duration for path in takes.iterdir())
    cost_of([COMMAND, "run", next(takes.iterdir()), "--out", folder / "warm"])
    ways: dict[str, tuple[str, tuple[str, ...]]] = {
        "run": ("plain", ()),
        " ".join(("run", *ASKED)): ("asked", ASKED),
    }
    costs: dict[str, list[Cost]] = {what: [] for what in (*ways, LATER)}
    for turn in range(ROUNDS):
        for what, (out, options) in ways.items():
            costs[what].append(cost_of([COMMAND, "run", takes, "--out", folder / f"{out}{turn}", *options]))
        costs[LATER].append(cost_of([COMMAND, "run", takes, "--out", folder / f"plain{turn}", *ASKED]))
    quickest = {what: min(some, key=lambda cost: cost.cpu_s) for what, some in costs.items()}
    for what, cost in quickest.items():
        yield (what, sound_s, cost.cpu_s, cost.wall_s, cost.cpu_s / quickest["run"].cpu_s, "run")


def _index(root: Path) -> Iterator[tuple[Cell, ...]]:
    fill(root, LISTED, 1)
    out = root / "markers"
    yield _run("run on known takes, no index", root)
    yield _one_more("one more take, no index", root)
    with open_catalogue(out) as catalogue:
        _outline_all(catalogue)
        yield from _from_within(catalogue, out)
    yield _run("run on known takes, an index that stays", root)
    (root / "take000000.wav").unlink()
    yield _run("run on known takes, one of which went", root)
    yield _one_more("one more take, with an index", root)


def _from_within(catalogue: Catalogue, out: Path) -> Iterator[tuple[Cell, ...]]:
    exporters = partial(overview_exporters_for, also=("page", "picture"))
    gallery = Gallery(catalogue, Shelf(out, files_of), exporters)
    overview, cpu_s, wall_s = _timed(gallery.overview)
    yield ("overview", LISTED, cpu_s, wall_s, None)
    for exporter in exporters(Settings()):
        content, cpu_s, wall_s = _timed(partial(exporter.render, overview))
        yield (exporter.file_name, LISTED, cpu_s, wall_s, len(content) / 1024)
    _, cpu_s, wall_s = _timed(lambda: list(gallery.bring_up([])))
    yield ("all of it, written", LISTED, cpu_s, wall_s, None)


def _run(what: str, root: Path) -> tuple[Cell, ...]:
    cost = cost_of([COMMAND, "run", root])
    return (what, LISTED, cost.cpu_s, cost.wall_s, None)


def _one_more(what: str, root: Path) -> tuple[Cell, ...]:
    """Return what a take costs that lands beside the others and is all that is asked for."""
    take = root / f"{what.replace(' ', '-')}.mid"
    few_notes(take)
    cost = cost_of([COMMAND, "run", take, "--out", root / "markers"])
    return (what, LISTED, cost.cpu_s, cost.wall_s, None)


def _timed(work: Callable[[], T]) -> tuple[T, float, float]:
    cpu_s, wall_s = time.process_time(), time.perf_counter()
    done = work()
    return done, time.process_time() - cpu_s, time.perf_counter() - wall_s


def _outline_all(catalogue: Catalogue) -> None:
    """Keep an outline of each take, as after a run."""
    chance = random.Random(SEED)
    rows = [(entry.path, _of(entry), dump_outline(_outline(chance))) for entry in catalogue.entries()]
    catalogue.keep_outlines(rows)


def _of(entry: Entry) -> str:
    return f"{FORMAT} {entry.content_hash} {entry.recipe}"


def _outline(chance: random.Random) -> Outline:
    phrases = tuple(_phrase(10.0 * at + chance.uniform(0, 3), chance) for at in range(PHRASES))
    return Outline(10.0 * PHRASES, 48_000, None, None, None, None, in_beats=True, phrases=phrases)


def _phrase(start_s: float, chance: random.Random) -> PhraseOutline:
    end_s = start_s + chance.uniform(0.5, 6)
    labels = Labels(chance.choice([*Length]), chance.choice([*Density]), chance.choice([*Groove]))
    return PhraseOutline(start_s, end_s, labels, chance.uniform(0.5, 4), _spot(start_s), _spot(end_s))


def _spot(time_s: float) -> Spot:
    """Return where a time lies at 120 beats a minute in 4/4."""
    bar, beat = divmod(2 * time_s, 4)
    return Spot(int(bar) + 1, round(beat + 1, 3), f"{int(bar) + 1}|{beat + 1:.2f}")
