"""The whole command: how fast it is, how soon it starts, how much memory it takes."""

import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import numpy as np
import soundfile as sf
import soxr

from batch.hearing.training.noise import RATE_HZ

from .making.lines import invented
from .making.takes import Made, Store, leveled, seed_of
from .making.tones import STRING, line_of
from .tables import Cell, Table
from .whole import COMMAND, Cost, cost_of

TAKE_S, TAKES = 60.0, 6
LONG_MINUTES = 20
LONG_RATE_HZ = 48_000
HELPS = 5


def speed_table(store: Store, data: Path) -> Table:
    """Return a row a measurement."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        rows = [*on_a_folder(folder, data, store), *starts(folder, store), help_row(), *memory(folder, store)]
    columns = ("what", "sound s", "cpu s", "wall s", "x real time a cpu second", "peak MiB", "ratio", "to")
    remark = "The installed command as a process of its own: decoding, hearing and all files."
    return Table("whole command", columns, tuple(rows), (remark, "ratio: how many times as fast as."))


def row(what: str, sound_s: float, cost: Cost, ratio: float | None = None, to: str = "") -> tuple[Cell, ...]:
    """Return one row."""
    return (what, sound_s, cost.cpu_s, cost.wall_s, sound_s / cost.cpu_s, cost.peak_mib, ratio, to)


def on_a_folder(folder: Path, data: Path, store: Store) -> Iterator[tuple[Cell, ...]]:
    """Yield a run over a folder of takes, and one by two processes where the command offers it."""
    takes = folder / "takes"
    takes.mkdir()
    for path in sorted((data / "takes").glob("*.flac")) or made_takes(folder / "made", store):
        shutil.copy(path, takes)
    sound_s = sum(sf.info(path).duration for path in takes.glob("*"))
    one = cost_of([COMMAND, "run", takes, "--out", folder / "one"])
    yield row(f"{len(list(takes.glob('*')))} takes", sound_s, one)
    if (
        "--jobs"
        in subprocess.run([COMMAND, "run", "--help"], capture_output=True, text=True, check=True).stdout
    ):
        alone = cost_of([COMMAND, "run", takes, "--out", folder / "alone", "--jobs", "1"])
        two = cost_of([COMMAND, "run", takes, "--out", folder / "two", "--jobs", "2"])
        yield row("the same, --jobs 1", sound_s, alone)
        yield row("the same, --jobs 2", sound_s, two, alone.wall_s / two.wall_s, "--jobs 1, on the clock")


def made_takes(folder: Path, store: Store) -> list[Path]:
    """Return takes of our own, where no others are at hand."""
    folder.mkdir()
    return [write(folder / f"take{at}.flac", store, at) for at in range(TAKES)]


def write(path: Path, store: Store, at: int) -> Path:
    """Write a take of TAKE_S."""
    samples, _ = store.kept(f"speed {at}", partial(take_made, at))
    sf.write(path, samples, RATE_HZ)
    return path


def take_made(at: int) -> Made:
    """Return a plucked line."""
    rng = np.random.default_rng(seed_of(f"speed {at}"))
    line = invented(rng, TAKE_S, 60)
    sound = line_of(line, STRING)
    return leveled(np.pad(sound, (0, int(TAKE_S * RATE_HZ) - len(sound)))), line


def starts(folder: Path, store: Store) -> Iterator[tuple[Cell, ...]]:
    """Yield one take from command to files: compiled code not there yet, then there."""
    take = write(folder / "single.wav", store, 0)
    cache = str(folder / "compiled")
    cold = cost_of([COMMAND, "run", take, "--out", folder / "cold"], NUMBA_CACHE_DIR=cache)
    warm = cost_of([COMMAND, "run", take, "--out", folder / "warm"], NUMBA_CACHE_DIR=cache)
    yield row("one take, the first time", TAKE_S, cold)
    yield row("one take, after that", TAKE_S, warm, cold.wall_s / warm.wall_s, "the first time, on the clock")


def help_row() -> tuple[Cell, ...]:
    """Return the quickest of some starts that only explain."""
    cost = min((cost_of([COMMAND, "--help"]) for _ in range(HELPS)), key=lambda cost: cost.wall_s)
    return ("takemill --help", None, cost.cpu_s, cost.wall_s, None, cost.peak_mib, None, "")


def memory(folder: Path, store: Store) -> Iterator[tuple[Cell, ...]]:
    """Yield a minute and LONG_MINUTES of 48 kHz in stereo."""
    first, _ = store.kept("speed 0", partial(take_made, 0))
    minute = np.repeat(soxr.resample(first, RATE_HZ, LONG_RATE_HZ)[:, None], 2, axis=1)
    for minutes in (1, LONG_MINUTES):
        path = folder / f"long{minutes}.wav"
        with sf.SoundFile(path, "w", LONG_RATE_HZ, 2, subtype="PCM_16") as out:
            for _ in range(minutes):
                out.write(minute)
        cost = cost_of([COMMAND, "run", path, "--out", folder / f"long{minutes}-out"])
        sound_s = minutes * len(minute) / LONG_RATE_HZ
        yield row(f"{minutes} min, 48 kHz stereo", sound_s, cost)
