"""The life of ``takemill watch``: looks, works on what is ready, looks on meanwhile, and survives faults."""

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from threading import Event

from batch.at_work import Role, hold, myself
from batch.engine import Engine
from batch.errors import BatchError, SettingsError
from batch.folder import settings_of
from batch.hearers import Hearers
from batch.names import absolute
from batch.outcome import Did, Outcome
from batch.report import Report
from batch.scan import settings_or_defaults
from batch.watch import Changes, Look, Watcher, out_of_sight
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
    say: Say
    say_problem: Say
    _backlog: deque[Path] = field(default_factory=deque)
    _folders: dict[Path, None] = field(default_factory=dict)
    _said: str = ""
    _complained: bool = False

    def last(self, stop: Event) -> None:
        """Go on until ``stop``.

        Raises
        ------
        BatchError
            If it cannot begin: another watcher is here, or the output folder refuses.
        """
        wakes = self.watcher.wakes(stop)
        begun = False
        while not stop.is_set():
            if begun and not self.folder.is_dir():  # nor is one made in its place
                self._complain(str(out_of_sight(self.folder)))
                stop.wait(PAUSE_S)
                continue
            try:
                self.workshop.make()
                # Opened anew after a fault, which may have been theirs.
                with hold(self.workshop.out, Role.WATCHING), self.hearers() as hearers:
                    self._sign_in()
                    if not begun:
                        self.say(f"watching {self.folder}, writing to {self.workshop.out}; stop with Ctrl-C")
                    begun = True
                    self._go_on(wakes, hearers)
            except BatchError as error:
                if not begun:
                    raise
                self._complain(str(error))
            self._backlog.clear()
            self.watcher.all_again()
            stop.wait(PAUSE_S)

    def _sign_in(self) -> None:
        with self.workshop.catalogue() as catalogue:
            catalogue.sign_in(Role.WATCHING, f"{absolute(self.folder)}, {myself()}")

    def _go_on(self, wakes: Iterator[Changes], hearers: Hearers) -> None:
        """Work as takes come, until the watch ends or the output folder is taken away."""
        begun = False
        for changed in wakes:
            if not self.workshop.stands():
                return
            look = self.watcher.look(changed)
            if look.unfinished and not (look.ready or self._backlog):
                # What came may be what went, renamed: what is written of all takes waits until it is ready.
                begun = True
                self._await(look, hearers)
            elif look or not begun:  # at first takes may have gone meanwhile, the last of them too
                begun, self._complained = True, False
                self._work(look, hearers)
                if not self._complained:
                    self._said = ""

    def _work(self, look: Look, hearers: Hearers) -> None:
        with self.workshop.engine(hearers) as engine:
            known = self._take_in(engine, look)
            self.report.work(
                engine,
                self._feed(engine),
                folders=lambda: list(self._folders),
                known=known,
                also=self._note,
            )

    def _await(self, look: Look, hearers: Hearers) -> None:
        """Note what is there and not finished."""
        with self.workshop.engine(hearers) as engine:
            self._take_in(engine, look)

    def _feed(self, engine: Engine) -> Iterator[Path]:
        """Yield what is to be worked on, and look for more as time passes."""
        while self._backlog:
            yield self._backlog.popleft()
            if look := self.watcher.glance():
                self._take_in(engine, look)

    def _note(self, outcome: Outcome) -> None:
        if outcome.did in {Did.LEFT, Did.PARTLY}:
            self.watcher.again([outcome.entry.path], LATER_S)

    def _take_in(self, engine: Engine, look: Look) -> int:
        """Queue what is ready and not up to date; return how many are up to date."""
        ready = self._well_set(look.ready)
        self._folders |= dict.fromkeys(take.parent for take in ready)
        engine.lose(look.gone)
        engine.expect(look.unfinished)
        queued, stale = set(self._backlog), engine.expect(ready)
        fresh = [take for take in stale if take not in queued]
        if settings_or_defaults(self.folder).folder.newest_first:
            self._backlog.extendleft(reversed(fresh))
        else:
            self._backlog.extend(fresh)
        return len(ready) - len(stale)

    def _well_set(self, takes: Iterable[Path]) -> list[Path]:
        """Return the takes whose folder has settings that can be read; they come again when those change."""
        wrong: dict[Path, str] = {}
        for folder in dict.fromkeys(take.parent for take in takes):
            try:
                settings_of(folder)
            except SettingsError as error:
                wrong[folder] = str(error)
        for folder, problem in wrong.items():
            self._folders.pop(folder, None)
            self._complain(problem)
        return [take for take in takes if take.parent not in wrong]

    def _complain(self, problem: str) -> None:
        if problem != self._said:
            self.say_problem(problem)
        self._said, self._complained = problem, True
