"""The life of ``takemill watch``: looks, works on what is ready, looks on meanwhile, and survives faults."""

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event

from batch.engine import Engine
from batch.errors import BatchError, SettingsError
from batch.folder import forget_settings, settings_of
from batch.hearers import Hearers
from batch.outcome import Did, Outcome
from batch.report import Report
from batch.scan import settings_or_defaults
from batch.watch import Changes, Look, Watcher
from batch.workshop import Say, Workshop

LATER_S = 60.0
"""After how long a take that was left for later is tried again (our choice)."""

PAUSE_S = 1.0
"""After a fault, before the folder is looked at again."""


@dataclass(slots=True)
class Shift:
    """Watches ``folder`` until ``stop``; what goes wrong is said once, and tried again."""

    folder: Path
    watcher: Watcher
    workshop: Workshop
    hearers: Callable[[], AbstractContextManager[Hearers]]
    report: Report
    say_problem: Say
    _backlog: deque[Path] = field(default_factory=deque)
    _folders: dict[Path, None] = field(default_factory=dict)
    _said: str = ""

    def last(self, stop: Event) -> None:
        """Go on until ``stop``."""
        wakes = self.watcher.wakes(stop)
        while not stop.is_set():
            try:
                # Opened anew after a fault, which may have been theirs.
                with self.hearers() as hearers:
                    for changed in wakes:
                        self._wake(changed, hearers)
                    return
            except BatchError as error:
                self._complain(str(error))
                self._backlog.clear()
                self.watcher.all_again()
            stop.wait(PAUSE_S)

    def _wake(self, changed: Changes, hearers: Hearers) -> None:
        if not (look := self.watcher.look(changed)):
            return
        forget_settings()
        with self.workshop.engine(hearers) as engine:
            if engine.catalogue.is_empty():
                self.watcher.all_again()  # what was written may have been removed
            self._take_in(engine, look)
            self.report.work(
                engine,
                self._feed(engine),
                folders=lambda: self._folders,
                known=len(look.ready) - len(self._backlog),
                also=self._note,
            )
        self._said = ""

    def _feed(self, engine: Engine) -> Iterator[Path]:
        """Yield what is to be worked on, and look for more as time passes."""
        while self._backlog:
            yield self._backlog.popleft()
            if look := self.watcher.glance():
                forget_settings()
                self._take_in(engine, look)

    def _note(self, outcome: Outcome) -> None:
        if outcome.did is Did.LEFT:
            self.watcher.again([outcome.entry.path], LATER_S)

    def _take_in(self, engine: Engine, look: Look) -> None:
        """Queue what is ready and not up to date."""
        ready = self._well_set(look.ready)
        self._folders |= dict.fromkeys(take.parent for take in ready)
        engine.lose(look.gone)
        engine.expect(look.unfinished)
        known = set(self._backlog)
        fresh = [take for take in engine.expect(ready) if take not in known]
        if settings_or_defaults(self.folder).folder.newest_first:
            self._backlog.extendleft(reversed(fresh))
        else:
            self._backlog.extend(fresh)

    def _well_set(self, takes: Iterable[Path]) -> list[Path]:
        """Return the takes whose folder has settings that can be read; they come again when those change."""
        wrong: dict[Path, str | None] = {}
        for folder in dict.fromkeys(take.parent for take in takes):
            try:
                settings_of(folder)
            except SettingsError as error:
                wrong[folder] = str(error)
        for problem in dict.fromkeys(wrong.values()):
            self._complain(problem or "")
        return [take for take in takes if take.parent not in wrong]

    def _complain(self, problem: str) -> None:
        if problem != self._said:
            self.say_problem(problem)
        self._said = problem
