"""An output folder made ready for work: nobody else writes there, nothing half-written lies about, and
the catalogue can be relied on."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from batch.at_work import Role, hold, myself
from batch.catalogue import Catalogue
from batch.catalogue_file import FILE_NAME, DamagedError, open_catalogue, set_aside
from batch.engine import Engine
from batch.errors import BatchError
from batch.flight import Spare
from batch.hearers import Hearers
from batch.names import ANALYSIS_SUFFIX
from batch.outputs import sweep_partials
from batch.rebuild import rebuild
from batch.shelf import Shelf

if TYPE_CHECKING:
    from exporters.base import FilesOf

Say = Callable[[str], None]


@dataclass(slots=True)
class Workshop:
    """The output folder ``out``, opened once for a run, again and again by a watcher.

    ``say`` is told what people should know, such as that another process is waited for.
    """

    out: Path
    files_of: "FilesOf"
    say: Say
    _made: bool = False
    _looked_through: bool = False
    _recovered: bool = False
    _spare: Spare = field(default_factory=Spare)

    def make(self) -> None:
        """Make the folder; BatchError if that is refused.

        What it lies in is made once: that may be the folder under watch, which was moved away since
        and must not be found taken when it comes back.
        """
        try:
            self.out.mkdir(parents=not self._made, exist_ok=True)
        except OSError as error:
            raise self._refused(error) from error
        self._made = True

    def stands(self) -> bool:
        """Return whether the catalogue is where it was made."""
        return (self.out / FILE_NAME).exists()

    @contextmanager
    def engine(self, hearers: Hearers) -> Iterator[Engine]:
        """Open the engine that writes here; BatchError as from :meth:`catalogue`."""
        with self.catalogue() as catalogue:
            yield Engine(catalogue, Shelf(self.out, self.files_of), hearers, self._spare)

    @contextmanager
    def catalogue(self) -> Iterator[Catalogue]:
        """Open the catalogue, once no other process writes here, and tidy up after one that was killed.

        Raises
        ------
        BatchError
            If the folder refuses, or the catalogue cannot be used.
        """
        self.make()
        with hold(self.out, Role.WRITING, meanwhile=self._say_that_it_waits):
            try:
                sweep_partials(self.out)
            except OSError as error:
                raise self._refused(error) from error
            with self._opened() as catalogue:
                catalogue.sign_in(Role.WRITING, myself())
                self._recover(catalogue)
                yield catalogue

    def mend(self) -> None:
        """Make a damaged catalogue anew; BatchError if the folder refuses."""
        with hold(self.out, Role.WRITING, meanwhile=self._say_that_it_waits):
            self._set_aside("is damaged")
            with self._opened():
                pass

    @contextmanager
    def _opened(self) -> Iterator[Catalogue]:
        """Open the catalogue; one that is damaged or gone is made anew from the analyses."""
        if not self._looked_through:
            self._look_through()
        try:
            with open_catalogue(self.out, create=True) as catalogue:
                self._fill(catalogue)
                yield catalogue
        except DamagedError as error:
            self._set_aside(error.problem)
            problem = f"{self.out}: its catalogue was damaged"
            raise BatchError(f"{problem}; the next start makes it anew") from error

    def _look_through(self) -> None:
        """Find damage before anything relies on the catalogue, where that is quick; else it shows in use."""
        self._looked_through = True
        try:
            with open_catalogue(self.out, create=True, thorough=True):
                pass
        except DamagedError as error:
            self._set_aside(error.problem)

    def _set_aside(self, problem: str) -> None:
        aside = set_aside(self.out, datetime.now().astimezone())
        self.say(f"{self.out / FILE_NAME}: {problem}; set aside as {aside.name}")

    def _recover(self, catalogue: Catalogue) -> None:
        """Take up what a killed process left half-way, and forget what went meanwhile."""
        catalogue.recover()
        if not self._recovered:
            catalogue.forget_unheard()
        self._recovered = True

    def _fill(self, catalogue: Catalogue) -> None:
        """Enter the analyses that lie here into a catalogue that knows nothing."""
        if catalogue.is_empty() and next(self.out.glob(f"*{ANALYSIS_SUFFIX}"), None):
            self.say(f"catalogue made anew: {rebuild(catalogue, self.out)} takes known from their analyses")

    def _say_that_it_waits(self) -> None:
        self.say(f"another takemill is writing to {self.out}; waiting for it to finish, Ctrl-C gives up")

    def _refused(self, error: OSError) -> BatchError:
        return BatchError(f"{self.out}: cannot be written to ({error.strerror}); choose another --out")
