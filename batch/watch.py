"""Which takes in a folder are finished: the eyes of ``takemill watch``."""

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event

from batch.charts import CHART_SUFFIXES
from batch.entry import Stamp
from batch.errors import BatchError
from batch.folder import forget_settings
from batch.kinds import TAKE_SUFFIXES, is_hidden
from batch.names import absolute
from batch.scan import Found, in_order, scan, settings_or_defaults
from batch.settings import WatchSettings
from batch.settings_file import SETTINGS_NAME
from batch.unfinished import is_incomplete, is_open_for_writing

LOOK_AGAIN_S = 10.0
"""How often the folder is read even if no event came, since some file systems lose them."""
TICK_S = 0.1
"""How often files that are still settling are looked at."""
POLL_S = 1.0
"""How often a folder that reports nothing is compared with what it was."""
INCOMPLETE_FACTOR = 5.0
"""How many settle times a file that is not whole by its header must stand still (our choice)."""
_BUSY_LOOK_S = 1.0
_REST_FACTOR = 20.0
"""While takes are heard, looking at the folder costs at most a part in this many of the time."""
_TICK_REST_FACTOR = 10.0
"""The same while takes settle, where only those are looked at."""

Changes = frozenset[Path]


@dataclass(frozen=True, slots=True)
class Settling:
    """When each file was first seen as it is now. Pure: the clock comes in as a number."""

    since: Mapping[Path, tuple[Hashable, float]] = field(default_factory=dict)

    def look(self, seen: Mapping[Path, Hashable], now_s: float) -> "Settling":
        """Return what is known after a look at the folder; a changed file starts afresh."""
        return Settling(
            {
                path: before if (before := self.since.get(path)) and before[0] == state else (state, now_s)
                for path, state in seen.items()
            }
        )

    def stood_s(self, path: Path, now_s: float) -> float:
        """Return for how long a file has stood still."""
        return now_s - self.since[path][1]

    def settled(self, now_s: float, settle_s: float) -> frozenset[Path]:
        """Return the files that have stood still for ``settle_s``."""
        return frozenset(path for path, (_, since) in self.since.items() if now_s - since >= settle_s)


@dataclass(frozen=True, slots=True)
class Look:
    """What is new in a folder: takes that are finished, takes that are not, takes that are gone."""

    ready: tuple[Path, ...] = ()
    unfinished: tuple[Path, ...] = ()
    gone: tuple[Path, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.ready or self.unfinished or self.gone)


class Watcher:
    """Looks at a folder and the clock, and tells what became ready since it was last asked.

    A take is reported once for each state it settles in, and again when a tempo map, a companion,
    a chord chart or the settings change. The takes that lie there at the start are reported like any other.

    Parameters
    ----------
    folder : Path
    out : Path
        Where takemill writes; no takes are looked for there.
    settings : WatchSettings
    clock : callable
        Seconds that never go back, such as ``time.monotonic``.
    """

    def __init__(self, folder: Path, out: Path, settings: WatchSettings, clock: Callable[[], float]) -> None:
        self._folder, self._out = absolute(folder), absolute(out)
        self._settings, self._clock = settings, clock
        self._found, self._settling = Found(), Settling()
        self._looked_s, self._cost_s = -LOOK_AGAIN_S, 0.0
        self._told_s, self._telling_s = clock(), 0.0
        self._changed: Changes = frozenset()
        self._unsettled: frozenset[Path] = frozenset()
        self._reported: dict[Path, Stamp] = {}
        self._reported_context: Mapping[Path, Stamp] = {}
        self._again_s: dict[Path, float] = {}
        self._shown: frozenset[Path] = frozenset()

    def look(self, changed: Changes = frozenset()) -> Look:
        """Look again: at takes known to have changed, at all if anything else has or if it is time.

        Raises
        ------
        BatchError
            If the folder cannot be listed.
        """
        now_s = self._clock()
        self._changed |= changed
        if now_s - self._told_s < _TICK_REST_FACTOR * self._telling_s:
            return Look()
        changed, self._changed = self._changed, frozenset()
        due = now_s - self._looked_s >= LOOK_AGAIN_S
        if due or not changed <= self._found.takes.keys():
            self._scan(now_s)
        elif not (changed or self._unsettled or self._again_s):
            return Look()
        else:
            again = self._found.looked_at_again(changed | self._unsettled)
            if again.context == self._found.context:
                self._found = again
            else:  # settings say what a take is too
                self._scan(now_s)
        return self._news(self._clock())

    def glance(self) -> Look:
        """Look again while takes are heard, if that takes a small part of the time."""
        if self._clock() - self._looked_s < max(_BUSY_LOOK_S, _REST_FACTOR * self._cost_s):
            return Look()
        self._scan(self._clock())
        return self._news(self._clock())

    def again(self, takes: Iterable[Path], after_s: float) -> None:
        """Report takes once more after a time, though they stay as they are."""
        due_s = self._clock() + after_s
        self._again_s |= dict.fromkeys(takes, due_s)

    def all_again(self) -> None:
        """Report every take at the next look that is due by the clock."""
        self._reported = {}

    def _scan(self, now_s: float) -> None:
        forget_settings()  # they say what lies here
        try:
            self._found = scan(self._folder, self._out)
            self._looked_s = now_s
        except OSError as error:
            raise out_of_sight(self._folder) from error
        self._cost_s = self._clock() - now_s

    def _news(self, now_s: float) -> Look:
        takes, context = self._found.takes, self._found.context
        self._settling = self._settling.look({**takes, **context}, now_s)
        settled = self._settling.settled(now_s, self._settings.settle_s)
        if context.keys() <= settled and context != self._reported_context:
            # A tempo map, a chart or settings that came or changed may matter to every take. What was read
            # of them since the last look may be of before, or of a file that was half written.
            forget_settings()
            self._reported, self._reported_context = {}, context
        fresh = {path for path in settled & takes.keys() if self._is_news(path, now_s)}
        held = {path for path in fresh if self._looks_unfinished(path, now_s)}
        ready = {path: takes[path] for path in fresh - held}
        gone = (self._reported.keys() | self._shown) - takes.keys()
        unfinished = frozenset((takes.keys() - settled) | held)
        self._unsettled = unfinished | (context.keys() - settled)
        self._reported = {path: seen for path, seen in self._reported.items() if path in takes} | ready
        self._again_s = {path: due_s for path, due_s in self._again_s.items() if path not in ready}
        fresh_unfinished, self._shown = unfinished - self._shown, unfinished
        chosen = settings_or_defaults(self._folder).folder
        self._told_s, self._telling_s = self._clock(), self._clock() - now_s
        return Look(tuple(in_order(ready, chosen)), tuple(sorted(fresh_unfinished)), tuple(sorted(gone)))

    def _is_news(self, path: Path, now_s: float) -> bool:
        due_s = self._again_s.get(path)
        return self._reported.get(path) != self._found.takes[path] or (due_s is not None and now_s >= due_s)

    def _looks_unfinished(self, path: Path, now_s: float) -> bool:
        stood_s = self._settling.stood_s(path, now_s)
        # Of a share that is polled others write, and some shares grant no lease to anybody.
        ours = not self._settings.poll
        if ours and stood_s < self._settings.paused_s and is_open_for_writing(path):
            return True
        return stood_s < INCOMPLETE_FACTOR * self._settings.settle_s and is_incomplete(path)

    def wakes(self, stop: Event) -> Iterator[Changes]:
        """Yield every TICK_S, or sooner when something happens in the folder, what changed there.

        Goes on when the folder goes and comes back, until ``stop``.
        """
        poll = self._settings.poll
        yield frozenset()
        while not stop.is_set():
            try:
                yield from self._events(stop, poll=poll)
            except FileNotFoundError:
                pass
            except OSError:
                poll = True  # no more watches to be had from this system
            stop.wait(POLL_S)
            yield frozenset()

    def _events(self, stop: Event, *, poll: bool) -> Iterator[Changes]:
        """Yield what watchfiles reports, until the folder is no longer the one that it watches."""
        from watchfiles import watch  # noqa: PLC0415  only a watcher needs it

        watched, asked_s = _identity(self._folder), self._clock()
        tick_ms = int(TICK_S * 1000)
        for changes in watch(
            self._folder,
            watch_filter=None,
            debounce=tick_ms,
            step=tick_ms // 2,
            rust_timeout=tick_ms,
            yield_on_timeout=True,
            stop_event=stop,
            force_polling=poll or None,
            poll_delay_ms=int(POLL_S * 1000),
            recursive=settings_or_defaults(self._folder).folder.subfolders,
            raise_interrupt=True,
        ):
            yield frozenset(path for _, name in changes if self._matters(path := Path(name)))
            if self._clock() - asked_s >= POLL_S:
                asked_s = self._clock()
                if _identity(self._folder) != watched:
                    return

    def _matters(self, path: Path) -> bool:
        """Return whether a change at ``path`` can concern takes; what takemill writes does not."""
        below = self._out != self._folder and self._out.is_relative_to(self._folder)
        if is_hidden(path.name) or (below and path.is_relative_to(self._out)):
            return False
        suffixes = (*TAKE_SUFFIXES, *CHART_SUFFIXES)
        return path.name == SETTINGS_NAME or path.suffix.lower() in suffixes or not path.is_file()


def out_of_sight(folder: Path) -> BatchError:
    """Return the error for a watched folder that cannot be listed."""
    return BatchError(f"{folder}: cannot be seen; waiting for it to come back")


def _identity(folder: Path) -> tuple[int, int] | None:
    try:
        status = folder.stat()
    except OSError:
        return None
    return status.st_dev, status.st_ino
