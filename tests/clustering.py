"""A scheduler and workers on this machine, started by the commands that a user types."""

import asyncio
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

from distributed import rpc

DASK = Path(sys.executable).with_name("dask")
FAULTY = Path(__file__).with_name("faulty_worker.py")
PATIENCE_S = 60.0


def wait_until(so: Callable[[], bool]) -> None:
    end = time.monotonic() + PATIENCE_S
    while not so():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.02)


class Machines:
    """A scheduler, and workers that join it."""

    def __init__(self, folder: Path, running: ExitStack) -> None:
        self._folder = folder
        told = folder / "scheduler.json"
        # Without takemill: it passes on what it does not understand.
        without = folder / "without.py"
        without.write_text("import sys\nsys.modules['batch'] = None\n")
        where = ("--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--scheduler-file", told)
        self.scheduler = running.enter_context(self._started("scheduler", *where, "--preload", without))
        wait_until(lambda: told.exists() and told.read_text().endswith("}"))
        self.address = str(json.loads(told.read_text())["address"])

    @contextmanager
    def joined(self, *options: object, fault: str | None = "", wait: bool = True) -> Iterator[None]:
        """Start a worker, or as many as ``--nworkers`` says; end them afterwards. None is without faults."""
        where = (self.address, "--nthreads", 1, "--no-dashboard", "--local-directory", self._folder)
        before = self.workers()
        faulty = () if fault is None else ("--preload", FAULTY)
        with self._started("worker", *where, *faulty, *options, FAULT=fault or ""):
            many = options[options.index("--nworkers") + 1] if "--nworkers" in options else 1
            wait_until(lambda: not wait or len(self.workers() - before) == many)
            yield
        wait_until(lambda: self.scheduler.poll() is not None or self.workers() <= before)

    def workers(self) -> set[str]:
        """Return the addresses of those who are there."""
        return set(self._asked("ncores"))

    def has_work(self) -> bool:
        """Return whether anybody was asked for anything and not told that it is wanted no more."""
        return bool(self._asked("has_what")) and any(self._asked("processing").values())

    def _asked(self, what: str) -> dict[str, object]:
        async def ask() -> dict[str, object]:
            async with rpc(self.address) as scheduler:
                return await getattr(scheduler, what)()

        return asyncio.run(ask())

    @contextmanager
    def _started(
        self, what: str, *options: object, **environment: str
    ) -> Iterator["subprocess.Popen[bytes]"]:
        command = [DASK, what, *map(str, options)]
        with (
            (self._folder / f"{what}.log").open("ab") as log,
            subprocess.Popen(command, stdout=log, stderr=log, env=os.environ | environment) as process,
        ):
            try:
                yield process
            finally:
                process.terminate()
                with suppress(subprocess.TimeoutExpired):
                    process.wait(2)
                process.kill()  # without its scheduler a worker takes half a minute to end


@contextmanager
def machines(folder: Path) -> Iterator[Machines]:
    """Start a scheduler; end it afterwards."""
    with ExitStack() as running:
        yield Machines(folder, running)
