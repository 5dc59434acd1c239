"""Files about many takes: written anew as takes come, sparingly, and only when they change."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

from batch.entry import Entry, State
from batch.errors import BatchError

_REST_FACTOR = 10.0
"""Writing such files while takes are heard costs at most a part in this many of the time (our choice)."""
_SHORT_S = 5.0
"""A run that is over by then writes them once, at its end (our choice)."""


@dataclass(frozen=True, slots=True)
class Written:
    """A file about so many takes that was written anew, and what to know of them."""

    name: str
    takes: int
    remarks: tuple[str, ...] = ()


def as_known(entry: Entry) -> Entry:
    """Return a take that was done and waits for its turn again as what it was: done; any other as it is."""
    waits = entry.state in {State.WAITING, State.RUNNING}
    was_done = entry.name is not None and entry.phrases is not None
    return replace(entry, state=State.DONE) if waits and was_done else entry


@dataclass(slots=True)
class Keeper:
    """Keeps files up that ``bring_up`` writes for the takes of some folders, yielding those that changed."""

    bring_up: Callable[[Iterable[Path]], Iterator[Written]]
    clock: Callable[[], float]
    _not_before_s: float = field(default=0.0, init=False)
    _unsaid: dict[str, Written] = field(default_factory=dict, init=False)

    def __post_init__(self) -> None:
        self._not_before_s = self.clock() + _SHORT_S

    def keep_up(self, folders: Iterable[Path]) -> None:
        """Bring files up to date in a long run, if that takes a small part of the time since the last.

        BatchError as from :meth:`keep`.
        """
        if self.clock() >= self._not_before_s:
            self._bring_up(folders)

    def keep(self, folders: Iterable[Path]) -> Iterator[Written]:
        """Bring files up to date; yield those that changed since this was last asked.

        Raises
        ------
        BatchError
            After them, if the disk is full or the folder refuses: what was written is told in any case.
        """
        trouble: BatchError | None = None
        try:
            self._bring_up(folders)
        except BatchError as error:
            trouble = error
        written = list(self._unsaid.values())
        self._unsaid.clear()
        yield from written
        if trouble:
            raise trouble

    def _bring_up(self, folders: Iterable[Path]) -> None:
        began_s = self.clock()
        try:
            for written in self.bring_up(folders):
                self._unsaid[written.name] = written
        finally:
            ended_s = self.clock()
            self._not_before_s = ended_s + _REST_FACTOR * (ended_s - began_s)
