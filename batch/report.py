"""What is done for takes, told line by line as it is done, and the sessions kept up with it."""

import time
from collections.abc import Callable, Iterable
from contextlib import closing, suppress
from dataclasses import dataclass, field
from pathlib import Path

from batch.engine import Engine
from batch.errors import BatchError
from batch.gig import Gigs, SessionExporters
from batch.outcome import Did, Outcome
from batch.terminal import progress, say, say_outcome, say_problem, say_session


@dataclass(slots=True)
class Report:
    """Counts what becomes of takes and tells it; the same trouble with a take is told once."""

    sessions: SessionExporters
    counts: dict[Did, int] = field(default_factory=lambda: dict.fromkeys(Did, 0))
    _told: dict[Path, str] = field(default_factory=dict)

    def work(
        self,
        engine: Engine,
        takes: Iterable[Path],
        *,
        folders: Callable[[], Iterable[Path]],
        total: int = 0,
        known: int = 0,
        also: Callable[[Outcome], None] = lambda _: None,
    ) -> bool:
        """Bring takes up to date; return whether all of them are.

        Parameters
        ----------
        engine : Engine
        takes : iterable of Path
            Taken from one by one.
        folders : callable
            Folders whose sessions are kept up; asked again as takes come.
        total, known : int
            How many takes there are, for a bar; how many others need nothing.
        also : callable
            Told each outcome.
        """
        self.counts = dict.fromkeys(Did, 0) | {Did.KNOWN: known}
        gigs = Gigs(engine.catalogue, engine.shelf, self.sessions, time.monotonic)
        with progress(total, "listening") as bar, closing(engine.work(takes)) as outcomes:
            for outcome in outcomes:
                self.counts[outcome.did] += 1
                self._tell(outcome)
                also(outcome)
                with suppress(BatchError):  # said at the end, if it is still so
                    gigs.keep_up(folders())
                bar.advance()
        if any(self.counts.values()):
            tally = ", ".join(f"{count} {did.value}" for did, count in self.counts.items() if count)
            say(f"{tally}; files in {engine.shelf.folder}")
        kept = self._keep_sessions(gigs, folders())
        return kept and not self.counts[Did.FAILED] + self.counts[Did.LEFT]

    def _tell(self, outcome: Outcome) -> None:
        path, reason = outcome.entry.path, outcome.entry.reason or ""
        if outcome.did is Did.KNOWN:
            return
        if outcome.did is Did.LEFT and self._told.get(path) == reason:
            return
        self._told.pop(path, None)
        if outcome.did is Did.LEFT:
            self._told[path] = reason
        say_outcome(outcome)

    def _keep_sessions(self, gigs: Gigs, folders: Iterable[Path]) -> bool:
        """Bring the sessions' files up to date, a line each that changed; return whether that went well."""
        try:
            for session in gigs.keep(folders):
                say_session(session)
        except BatchError as error:
            say_problem(str(error))
            return False
        return True
