"""The table of hard cases: one row a case, over all the voices it is played on."""

from collections.abc import Callable, Iterator, Sequence
from functools import partial

import numpy as np

from batch.hearing.training.noise import RATE_HZ

from .accuracy import warmed
from .cases import playing, recorded
from .cases.case import Case, Verdict
from .listeners import Hear, Listener, hear
from .making.banks import about_bank
from .making.takes import Made, Store, Take, seed_of
from .making.voices import Voice
from .tables import Cell, Table

REMARKS = (
    "A hit: onset within 50 ms and pitch within 50 cents; where the pitch is bent, onset alone.",
    "Played on synthesis of our own and, where the case allows, on the bank; pooled over them.",
)
CASES = (*playing.CASES, *recorded.CASES)


def hard_table(store: Store, only: str, listeners: Sequence[Listener], *, each: bool = False) -> Table:
    """Return a row a case whose name holds ``only``, or a row ``each`` voice it is played on.

    The first listener is shown in full, of the others F.
    """
    ears = {listener.name: warmed(listener.start()) for listener in listeners}
    rows = [
        row(title, case, takes, list(ears.values()))
        for case in CASES
        if only in case.name
        for title, takes in titled(case, list(takes_of(case, store)), each=each)
    ]
    names = [f"{name}: F" for name in list(ears)[1:]]
    columns = ("case", "played", "heard", "recall", "precision", "F", *names, "figure", "of")
    return Table("hard cases", columns, tuple(rows), (*REMARKS, about_bank()))


def titled(case: Case, takes: Sequence[Take], *, each: bool) -> list[tuple[str, Sequence[Take]]]:
    """Return what to count together, and under which name."""
    if each:
        return [(take.name.removeprefix("hard "), [take]) for take in takes]
    return [(case.name, takes)] if takes else []


def row(title: str, case: Case, takes: Sequence[Take], ears: Sequence[Hear]) -> tuple[Cell, ...]:
    """Return one row."""
    mine, *theirs = [judged(case, takes, ear) for ear in ears]
    match = mine.match
    counted: list[Cell] = [title, mine.played, mine.heard, match.recall, match.precision, match.f]
    return (*counted, *(other.match.f for other in theirs), mine.figure, mine.also)


def takes_of(case: Case, store: Store) -> Iterator[Take]:
    """Yield the case on each voice that is there."""
    for voice in case.voices:
        if voice.there:
            name = f"hard {case.name} {voice.name}"
            samples, notes = store.kept(name, partial(made, name, case.make, voice))
            yield Take(name, (case.name,), samples, RATE_HZ, notes)


def made(name: str, make: Callable[[np.random.Generator, Voice], Made], voice: Voice) -> Made:
    """Return a case on a voice, always the same under the same name."""
    return make(np.random.default_rng(seed_of(name)), voice)


def judged(case: Case, takes: Sequence[Take], ear: Hear) -> Verdict:
    """Return the verdict on what ``ear`` heard."""
    heard = [hear(ear, take).notes for take in takes]
    return case.judge(
        [(take.notes, found) for take, found in zip(takes, heard, strict=True) if found is not None]
    )
