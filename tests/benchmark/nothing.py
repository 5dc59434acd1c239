"""The table of sounds without a line: how many notes and phrases are made up."""

from functools import partial

from batch.hearing.training.noise import RATE_HZ

from .cases.silent import ACCENTS, SILENT, can_talk, talk, without_notes
from .making.takes import Samples, Store, seed_of
from .tables import Cell, Table
from .whole import said_of

TRIES = 3  # of each kind, differently drawn


def nothing_table(store: Store, only: str) -> Table:
    """Return a row a kind of sound whose name holds ``only``."""
    kinds = {name: [make] * TRIES for name, make in SILENT.items()}
    if can_talk():
        kinds["speech, espeak-ng"] = [partial(talk, accent) for accent in ACCENTS]
    takes: dict[str, tuple[Samples, int]] = {}
    for kind, makes in kinds.items():
        for at, make in enumerate(makes if only in kind else []):
            name = f"{kind} {at}"
            takes[name] = store.kept(name, partial(without_notes, make, seed_of(name)))[0], RATE_HZ
    told = said_of(takes) if takes else {}
    rows: list[tuple[Cell, ...]] = []
    for kind in kinds:
        mine = {name: told[name] for name in told if name.rsplit(" ", 1)[0] == kind}
        if mine:
            seconds = sum(len(takes[name][0]) / RATE_HZ for name in mine)
            notes, phrases = sum(len(s.notes) for s in mine.values()), sum(s.phrases for s in mine.values())
            said = sorted({warning.split(":")[0] for s in mine.values() for warning in s.warnings})
            rows.append((kind, seconds, notes, phrases, "; ".join(said)))
    columns = ("sound", "seconds", "notes", "phrases", "warnings")
    spoken = () if can_talk() else ("speech by espeak-ng is left out: install espeak-ng",)
    return Table("nothing to hear", columns, tuple(rows), ("Every note and phrase is one too many.", *spoken))
