"""Which files in a folder are finished: the eyes of ``takemill watch``."""

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event

from batch.catalogue import Stamp
from batch.errors import BatchError
from batch.folder import context_in, is_context, takes_in

LOOK_AGAIN_S = 10.0
"""How often the folder is read even if no event came, since some file systems lose them."""

Settled = tuple[Path, Stamp]

TICK_S = 0.25
"""How often files that are still settling are looked at."""


@dataclass(frozen=True, slots=True)
class Settling:
    """When each file was first seen as it is now. Pure: the clock comes in as a number."""

    since: Mapping[Path, tuple[Stamp, float]] = field(default_factory=dict)

    def look(self, seen: Mapping[Path, Stamp], now_s: float) -> "Settling":
        """Return what is known after a look at the folder; a changed file starts afresh."""
        return Settling(
            {
                path: before if (before := self.since.get(path)) and before[0] == stamp else (stamp, now_s)
                for path, stamp in seen.items()
            }
        )

    def settled(self, now_s: float, settle_s: float) -> frozenset[Settled]:
        """Return the files that have stood still for ``settle_s``."""
        return frozenset(
            (path, stamp) for path, (stamp, since) in self.since.items() if now_s - since >= settle_s
        )


def watch_folder(
    folder: Path, *, settle_s: float, poll: bool, stop: Event, clock: Callable[[], float]
) -> Iterator[tuple[list[Path], list[Path]]]:
    """Yield (settled, settling) takes of ``folder`` whenever some have settled or begun to, until ``stop``.

    A settled take is reported once for each state it settles in, and again when a tempo map
    or the settings change. The takes that lie there at the start are reported like any other.
    """
    settling, reported, reported_context = Settling(), frozenset[Settled](), frozenset[Settled]()
    unsettled, shown = frozenset[Path](), list[Path]()
    looked_s = -math.inf
    for changed in _wakes(folder, poll=poll, stop=stop):
        now_s = clock()
        if not (changed or unsettled or now_s - looked_s >= LOOK_AGAIN_S):
            continue
        looked_s = now_s
        settling = settling.look(_stamps(folder), now_s)
        settled = settling.settled(now_s, settle_s)
        unsettled = frozenset(settling.since) - {path for path, _ in settled}
        context = frozenset(pair for pair in settled if is_context(pair[0]))
        takes = settled - context
        # A tempo map or settings that came or changed may matter to every take.
        ready = takes if context != reported_context else takes - reported
        waiting = sorted(path for path in unsettled if not is_context(path))
        if ready or waiting != shown:
            yield sorted(path for path, _ in ready), waiting
        reported, reported_context, shown = takes, context, waiting


def _wakes(folder: Path, *, poll: bool, stop: Event) -> Iterator[bool]:
    """Yield every TICK_S, or sooner when something happens in the folder: whether it did."""
    from watchfiles import watch  # noqa: PLC0415  only a watcher needs it

    yield True
    for changes in watch(
        folder,
        watch_filter=None,
        debounce=int(TICK_S * 1000),
        rust_timeout=int(TICK_S * 1000),
        yield_on_timeout=True,
        stop_event=stop,
        force_polling=poll or None,
        recursive=False,
        raise_interrupt=True,
    ):
        yield bool(changes)


def _stamps(folder: Path) -> dict[Path, Stamp]:
    found = {}
    try:
        paths = [*takes_in(folder), *context_in(folder)]
    except OSError as error:
        problem = f"{folder}: cannot be watched any more ({error.strerror})"
        raise BatchError(f"{problem}; start again when it is back") from error
    for path in paths:
        try:
            found[path] = Stamp.of(path)
        except OSError:
            continue  # gone between the listing and the look
    return found
