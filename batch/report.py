"""What is done for takes, told line by line as it is done, and what is written of many kept up with it."""

import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from batch.engine import Engine
from batch.errors import BatchError, UnfitError
from batch.gallery import Gallery
from batch.gig import Gigs
from batch.kept import Keeper, Written
from batch.outcome import Did, Outcome
from batch.scan import settings_or_defaults
from batch.settings import Settings
from batch.terminal import progress, say, say_index, say_outcome, say_problem, say_session
from batch.words import count

if TYPE_CHECKING:
    from exporters.base import Copier, OverviewExportersFor, SessionExportersFor

Keepers = tuple[tuple[Keeper, Callable[[Written], None]], ...]
"""Who keeps files about many takes up, and how it is said of one that was written."""


_TRIED_AGAIN = frozenset({Did.LEFT, Did.PARTLY})


@dataclass(slots=True)
class Report:
    """Counts what becomes of takes and tells it; the same trouble is told once."""

    sessions: "SessionExportersFor"
    overviews: "OverviewExportersFor"
    faults: Callable[[Settings], Sequence[str]]
    copiers: Callable[[Settings], "Mapping[str, Copier]"]
    counts: dict[Did, int] = field(default_factory=lambda: dict.fromkeys(Did, 0))
    _told: dict[Path, str] = field(default_factory=dict)
    _problems: list[str] = field(default_factory=list)
    _unfit: dict[str, dict[str, None]] = field(default_factory=dict)
    _said_unfit: set[str] = field(default_factory=set)

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
            Folders whose sessions and index are kept up; asked again as takes come.
        total, known : int
            How many takes there are, for a bar; how many others need nothing.
        also : callable
            Told each outcome.
        """
        self.counts = dict.fromkeys(Did, 0) | {Did.KNOWN: known}
        keepers = self._keepers(engine)
        with progress(total, "listening") as bar, closing(engine.work(takes)) as outcomes:
            for outcome in outcomes:
                self.counts[outcome.did] += 1
                self._tell(outcome)
                also(outcome)
                for keeper, _ in keepers:
                    with suppress(BatchError):  # said at the end, if it is still so
                        keeper.keep_up(folders())
                bar.advance()
        if any(self.counts.values()):
            tally = ", ".join(f"{count} {did.value}" for did, count in self.counts.items() if count)
            say(f"{tally}; files in {engine.shelf.folder}")
        self._say_unfit()
        kept = self._keep(keepers, folders())
        return kept and not any(self.counts[did] for did in (Did.FAILED, Did.LEFT, Did.PARTLY))

    def look_over(self, takes: Iterable[Path]) -> None:
        """Note of which takes no such copy can be made as is asked for, to be said at the end."""
        copiers = cache(lambda folder: self.copiers(settings_or_defaults(folder)))
        for take in takes:
            for name, copier in copiers(take.parent).items():
                try:
                    copier.suffix_for(take.name)
                except UnfitError as error:
                    self._unfit.setdefault(f"{name}: {error}", {})[take.name] = None
                except Exception:  # told where the copy is made
                    continue

    def _say_unfit(self) -> None:
        """Say each reason once: for how many takes it holds, and for which first."""
        for reason, (first, *others) in self._unfit.items():
            if reason not in self._said_unfit:
                more = f" and {count(len(others), 'more take')}" if others else ""
                say(f"{first}{more}: {reason}")
        self._said_unfit |= self._unfit.keys()
        self._unfit.clear()

    def _keepers(self, engine: Engine) -> Keepers:
        catalogue, shelf = engine.catalogue, engine.shelf
        return (
            (Keeper(Gigs(catalogue, shelf, self.sessions).bring_up, time.monotonic), say_session),
            (Keeper(Gallery(catalogue, shelf, self.overviews).bring_up, time.monotonic), say_index),
        )

    def _tell(self, outcome: Outcome) -> None:
        path, reason = outcome.entry.path, outcome.entry.reason or ""
        if outcome.did is Did.KNOWN:
            return
        if outcome.did in _TRIED_AGAIN and self._told.get(path) == reason:
            return
        self._told.pop(path, None)
        if outcome.did in _TRIED_AGAIN:
            self._told[path] = reason
        say_outcome(outcome)
        if outcome.did in {Did.HEARD, Did.WRITTEN, Did.PARTLY}:
            self.look_over([path])

    def _keep(self, keepers: Keepers, folders: Iterable[Path]) -> bool:
        """Bring the files about many takes up to date, a line each that changed; return if that went well."""
        problems = [fault for folder in folders for fault in self.faults(settings_or_defaults(folder))]
        for keeper, tell in keepers:
            try:
                for written in keeper.keep(folders):
                    tell(written)
            except BatchError as error:
                problems.append(str(error))
        problems = list(dict.fromkeys(problems))
        for problem in problems:
            if problem not in self._problems:
                say_problem(problem)
        self._problems = problems
        return not problems
