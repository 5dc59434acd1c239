"""``python -m tests.benchmark``: print the tables asked for, then each as a line of JSON."""

import argparse
import os
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy loads: one core is what is measured

from .accuracy import accuracy_table, cost_table, results
from .companions import companion_tables
from .flattened import flattened_tables
from .formats import formats_tables
from .grooves import grooves_table, swing_table
from .grooves_of_solos import grooves_of_solos_table
from .hard import hard_table
from .listeners import LISTENERS, Listener
from .making.banks import about_bank, bank
from .making.takes import Planned, Store, Take
from .material import accuracy_takes
from .mixes import chords_table, mixes_table
from .nothing import nothing_table
from .pages import pages_tables
from .phrase_starts import phrases_table
from .relations import relations_tables
from .scale import scale_table
from .speed import speed_table
from .tables import Table

PROJECT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True, slots=True)
class Asked:
    """What the command line asked for."""

    store: Store
    data: Path
    only: str
    takes: int | None
    listeners: tuple[str, ...]
    each: bool


def accuracy(asked: Asked) -> Iterator[Table]:
    """Yield accuracy and cost of every listener."""
    listeners = installed(asked.listeners)
    found = results(listeners, chosen(accuracy_takes(asked.store, asked.data), asked))
    if found:
        yield accuracy_table(found)
        yield cost_table(found)


def installed(names: Sequence[str]) -> list[Listener]:
    """Return the listeners of these names that are installed, and say which are not."""
    wanted = [one for one in LISTENERS if one.name in names]
    for one in wanted:
        if one.missing:
            print(f"{one.missing}\n")
    return [one for one in wanted if not one.missing]


def chosen(takes: Iterator[Planned], asked: Asked) -> Iterator[Take]:
    """Yield the takes whose name or group holds ``asked.only``, at most ``asked.takes`` of a first group."""
    counts: dict[str, int] = {}
    for take in takes:
        if asked.only not in " ".join((take.name, *take.groups)):
            continue
        counts[take.groups[0]] = counts.get(take.groups[0], 0) + 1
        if asked.takes is None or counts[take.groups[0]] <= asked.takes:
            yield take.take()


def hard(asked: Asked) -> Iterator[Table]:
    """Yield the hard cases, and sounds without a line."""
    listeners = installed(("takemill", "swift-f0"))
    yield hard_table(asked.store, asked.only, listeners, each=asked.each)
    yield nothing_table(asked.store, asked.only)


def speed(asked: Asked) -> Iterator[Table]:
    """Yield what the whole command costs."""
    yield speed_table(asked.store, asked.data)


def mixes(asked: Asked) -> Iterator[Table]:
    """Yield leads with a band, and chords."""
    if not bank():
        print(f"mixes are left out: {about_bank()}\n")
        return
    yield mixes_table(asked.store, asked.data, asked.only)
    yield chords_table(asked.store, asked.only)


def phrases(asked: Asked) -> Iterator[Table]:
    """Yield phrase starts from true notes."""
    yield phrases_table(asked.data, asked.only)


def grooves(asked: Asked) -> Iterator[Table]:
    """Yield lines in the groove and against it, and what annotated solos do."""
    if not bank():
        print(f"grooves as sound are left out: {about_bank()}\n")
    yield grooves_table(asked.only)
    yield swing_table(asked.only)
    yield grooves_of_solos_table(asked.data)


def variety(asked: Asked) -> Iterator[Table]:
    """Yield what flattening one dimension of a solo does to its score."""
    yield from flattened_tables(asked.data)


def relations(asked: Asked) -> Iterator[Table]:
    """Yield how often phrases are related, and how often by chance."""
    yield from relations_tables(asked.data)


def companions(asked: Asked) -> Iterator[Table]:
    """Yield beats of clicks and backings."""
    if not bank():
        print(f"backings are left out: {about_bank()}\n")
    yield from companion_tables(asked.store, asked.only, sampled=bank() is not None)


def scale(_: Asked) -> Iterator[Table]:
    """Yield what large catalogues cost."""
    yield scale_table()


def pages(asked: Asked) -> Iterator[Table]:
    """Yield what pages, pictures and the index cost."""
    yield from pages_tables(asked.store, asked.data)


def formats(_: Asked) -> Iterator[Table]:
    """Yield where readers of each format find phrases."""
    yield from formats_tables()


def cluster(asked: Asked) -> Iterator[Table]:
    """Yield how a run grows with workers."""
    if find_spec("distributed") is None:
        print("the cluster is left out: distributed is not installed; pip install '.[cluster]'\n")
        return
    from .cluster import cluster_table

    yield cluster_table(asked.store)


PARTS: dict[str, Callable[[Asked], Iterator[Table]]] = {
    "accuracy": accuracy,
    "speed": speed,
    "hard": hard,
    "mixes": mixes,
    "phrases": phrases,
    "grooves": grooves,
    "variety": variety,
    "relations": relations,
    "companions": companions,
    "scale": scale,
    "pages": pages,
    "formats": formats,
    "cluster": cluster,
}


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the parts asked for; return 0, or 2 where the command line is wrong."""
    parser = parser_of()
    given = parser.parse_args(arguments)
    ears = given.listeners.split(",")
    for asked_for, known in ((given.parts, list(PARTS)), (ears, [one.name for one in LISTENERS])):
        unknown = [name for name in asked_for if name not in known]
        if unknown:
            parser.error(f"{', '.join(unknown)}: not known; choose from {', '.join(known)}")
    asked = Asked(Store(given.cache), given.data, given.only, given.takes, tuple(ears), given.each)
    tables = []
    for part in given.parts or PARTS:
        tables += [shown(table) for table in PARTS[part](asked) if table.rows]
    if not tables:
        parser.error(f"nothing has {given.only!r} in its name")
    for table in tables:
        print(table.json_line())
    return 0


def parser_of() -> argparse.ArgumentParser:
    """Return what reads the command line."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmark", description=__doc__)
    parser.add_argument("parts", nargs="*", help=f"which tables: {', '.join(PARTS)} (default: all)")
    cache, data = Path(tempfile.gettempdir(), "takemill-benchmark"), PROJECT.parent / "shared"
    names = ",".join(one.name for one in LISTENERS)

    def add(name: str, explained: str, **kind: Any) -> None:
        parser.add_argument(name, help=explained, **kind)

    add("--cache", f"keeps the takes made (default: {cache})", type=Path, default=cache, metavar="DIR")
    add("--data", f"annotated takes and solos (default: {data})", type=Path, default=data, metavar="DIR")
    add("--only", "only takes and cases whose name holds NAME", default="", metavar="NAME")
    add("--takes", "accuracy: at most N takes of a kind", type=int, metavar="N")
    add("--listeners", f"accuracy: which hear (default: {names})", default=names, metavar="A,B")
    add("--each", "hard: a row for each voice a case is played on", action="store_true")
    return parser


def shown(table: Table) -> Table:
    """Print ``table`` for people."""
    print(table.text(), flush=True)
    return table


if __name__ == "__main__":
    sys.exit(main())
