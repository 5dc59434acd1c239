"""Many machines: how a run grows with the workers of a cluster on this machine, beside as many jobs."""

import tempfile
from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from pathlib import Path
from statistics import median

from ..clustering import machines
from .making.takes import Store
from .speed import TAKE_S, write
from .tables import Cell, Table
from .whole import COMMAND, Cost, cost_of

TAKES, ROUNDS = 16, 3
REMARKS = (
    "Scheduler and workers run here, so more of them than cores bring nothing; both are warm.",
    f"The quickest of {ROUNDS} rounds, in which all take turns: what else the machine does slows them alike.",
    "cpu s: of the command itself, jobs counted with it, workers of a cluster not.",
    "cpu s a take: what each take more costs the command, which alone reads, renders and writes.",
    "ratio: how many times as fast on the clock as.",
)


def cluster_table(store: Store) -> Table:
    """Return a row for each number of jobs and of workers."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "takes").mkdir()
        for at in range(TAKES):
            write(folder / "takes" / f"take{at:02d}.flac", store, at)
        rows = tuple(measured(folder))
    columns = ("what", "sound s", "wall s", "cpu s", "cpu s a take", "ratio", "to")
    return Table("cluster", columns, rows, REMARKS)


def measured(folder: Path) -> Iterator[tuple[Cell, ...]]:
    """Yield one and two jobs, then one and two workers."""
    with ExitStack() as running:
        ways = {f"--jobs {count}": ("--jobs", str(count)) for count in (1, 2)}
        for count in (1, 2):
            found = running.enter_context(machines(made(folder / f"dask{count}")))
            running.enter_context(found.joined("--nworkers", count, fault=None))
            ways[f"{count} workers"] = ("--cluster", found.address)
        ran(folder, *ways["1 workers"]), ran(folder, *ways["2 workers"])
        rounds = [{way: ran(folder, *options) for way, options in ways.items()} for _ in range(ROUNDS)]
        alone = [ran(folder, *ways["1 workers"], take="take00.flac") for _ in rounds]
    quickest = {way: min((one[way] for one in rounds), key=lambda cost: cost.wall_s) for way in ways}
    more = [many["1 workers"].cpu_s - one.cpu_s for many, one in zip(rounds, alone, strict=True)]
    a_take = median(more) / (TAKES - 1)
    for way, to in (("--jobs 1", ""), ("--jobs 2", "--jobs 1"), ("1 workers", "--jobs 1")):
        yield row(way, quickest, to, a_take if way == "1 workers" else None)
    yield row("2 workers", quickest, "--jobs 2")
    yield row("2 workers", quickest, "1 workers")


def made(folder: Path) -> Path:
    """Return a folder that was not there."""
    folder.mkdir()
    return folder


def ran(folder: Path, *options: str, take: str = "") -> Cost:
    """Return what a run took that has everything to do."""
    with tempfile.TemporaryDirectory(dir=folder) as out:
        return cost_of([COMMAND, "run", folder / "takes" / take, "--out", out, *options])


def row(way: str, costs: Mapping[str, Cost], to: str, a_take: float | None = None) -> tuple[Cell, ...]:
    """Return one row."""
    cost = costs[way]
    times = costs[to].wall_s / cost.wall_s if to else None
    return (way, TAKES * TAKE_S, cost.wall_s, cost.cpu_s, a_take, times, to)
