"""``python -m tests.benchmark``: print the tables asked for, then each as a line of JSON."""

import argparse
import os
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")  # before numpy loads: one core is what is measured

from .accuracy import accuracy_table, cost_table, results
from .hard import hard_table
from .listeners import LISTENERS
from .making.takes import Planned, Store, Take
from .material import accuracy_takes
from .mixes import chords_table, mixes_table
from .nothing import nothing_table
from .phrase_starts import phrases_table
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
    listeners = [one for one in LISTENERS if one.name in asked.listeners]
    for one in listeners:
        if one.missing:
            print(one.missing)
    takes = chosen(accuracy_takes(asked.store, asked.data), asked)
    found = results([one for one in listeners if not one.missing], takes)
    if found:
        yield accuracy_table(found)
        yield cost_table(found)


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
    """Yield the hard cases."""
    listeners = [one for one in LISTENERS if one.name in ("takemill", "swift-f0") and not one.missing]
    yield hard_table(asked.store, asked.only, listeners, each=asked.each)
    yield nothing_table(asked.store, asked.only)


def speed(asked: Asked) -> Iterator[Table]:
    """Yield what the whole command costs."""
    yield speed_table(asked.store, asked.data)


def mixes(asked: Asked) -> Iterator[Table]:
    """Yield leads with a band, and chords."""
    yield mixes_table(asked.store, asked.data, asked.only)
    yield chords_table(asked.store, asked.only)


def phrases(asked: Asked) -> Iterator[Table]:
    """Yield phrase starts from true notes."""
    yield phrases_table(asked.data, asked.only)


PARTS: dict[str, Callable[[Asked], Iterator[Table]]] = {
    "accuracy": accuracy,
    "speed": speed,
    "hard": hard,
    "mixes": mixes,
    "phrases": phrases,
}


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the parts asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmark", description=__doc__)
    parser.add_argument("parts", nargs="*", choices=[*PARTS, []], help="which tables (default: all)")
    cache = Path(tempfile.gettempdir(), "takemill-benchmark")
    parser.add_argument(
        "--cache", type=Path, default=cache, metavar="DIR", help=f"keeps takes made ({cache})"
    )
    parser.add_argument(
        "--data",
        type=Path,
        default=PROJECT.parent / "shared",
        metavar="DIR",
        help="annotated takes and solos",
    )
    parser.add_argument(
        "--only", default="", metavar="NAME", help="only takes or cases whose name holds NAME"
    )
    parser.add_argument("--takes", type=int, metavar="N", help="at most N takes of a kind")
    names = [one.name for one in LISTENERS]
    parser.add_argument(
        "--listeners", default=",".join(names), help=f"which hear for the accuracy table ({','.join(names)})"
    )
    parser.add_argument(
        "--each", action="store_true", help="hard cases: a row each voice a case is played on"
    )
    given = parser.parse_args(arguments)
    ears = tuple(given.listeners.split(","))
    asked = Asked(Store(given.cache), given.data, given.only, given.takes, ears, given.each)
    tables = []
    for part in given.parts or PARTS:
        tables += [shown(table) for table in PARTS[part](asked) if table.rows]
    for table in tables:
        print(table.json_line())
    return 0


def shown(table: Table) -> Table:
    """Print ``table`` for people."""
    print(table.text(), flush=True)
    return table


if __name__ == "__main__":
    sys.exit(main())
