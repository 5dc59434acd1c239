"""The takes of the accuracy table: every family of instruments in every condition."""

from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import numpy as np

from batch.hearing.training.lines import excerpt, solos_in
from batch.hearing.training.noise import RATE_HZ

from .annotated import annotated_takes, real_recordings
from .making.banks import CONDITIONS, INSTRUMENTS, Instrument, bank, performed
from .making.lines import invented
from .making.takes import Line, Made, Planned, Store, Take, leveled, seed_of

SECONDS = 12.0
Draw = Callable[[np.random.Generator, Instrument], Line]


def accuracy_takes(store: Store, data: Path) -> Iterator[Planned]:
    """Yield invented lines and lines of the corpus on sampled instruments, then annotated recordings."""
    if bank():
        for condition in CONDITIONS:
            yield from on_instruments(
                store, "invented", condition, lambda rng, i: invented(rng, SECONDS, i.centre)
            )
        if (data / "corpus" / "notes.csv.gz").is_file():
            solos = solos_in(data / "corpus")
            yield from on_instruments(store, "corpus", "clean", partial(of_a_solo, solos))
    yield from annotated_takes(data)
    yield from real_recordings(data)


def on_instruments(store: Store, source: str, condition: str, draw: Draw) -> Iterator[Planned]:
    """Yield a take of SECONDS on every instrument."""
    for instrument in INSTRUMENTS:
        name = f"{source} {instrument.program} {condition}"
        groups = (instrument.family, condition) if source == "invented" else ("corpus lines",)
        make = partial(made, name, instrument, condition, draw)
        yield Planned(name, groups, partial(kept_take, store, name, groups, make))


def kept_take(store: Store, name: str, groups: tuple[str, ...], make: Callable[[], Made]) -> Take:
    """Return a take out of the store."""
    samples, notes = store.kept(name, make)
    return Take(name, groups, samples, RATE_HZ, notes)


def made(name: str, instrument: Instrument, condition: str, draw: Draw) -> Made:
    """Return one take, always the same under the same name."""
    rng = np.random.default_rng(seed_of(name))
    line = draw(rng, instrument)
    return leveled(performed(rng, line, instrument.program, condition, SECONDS)), line


def of_our_own(rng: np.random.Generator, instrument: Instrument) -> Line:
    """Return an invented line of SECONDS."""
    return invented(rng, SECONDS, instrument.centre)


def of_a_solo(solos: list[Line], rng: np.random.Generator, instrument: Instrument) -> Line:
    """Return the first SECONDS of an excerpt of a solo."""
    line = excerpt(rng, solos, slower=1.0, centre=instrument.centre)
    return line[line[:, 1] < SECONDS - 0.2]
