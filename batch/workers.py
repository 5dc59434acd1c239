"""Takes heard each in a process of its own, side by side if so asked.

A process hears one take at a time over a pipe of its own: when one dies, or takes too long, it is
known over which take, and the others go on. Only the parent writes files and the catalogue.
"""

import os
import signal
import sys
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from multiprocessing import connection, get_context, parent_process, resource_tracker
from multiprocessing.connection import Connection
from operator import itemgetter
from pathlib import Path
from threading import Thread
from time import monotonic
from typing import Self

from batch.errors import TakeError
from batch.garbage import look_seldom
from batch.hearers import Answer, Listen, Request, answer

_SPAWN = get_context("spawn")
"""Fresh processes: forked ones of a process with threads may hang (libraries on macOS do)."""

_ONE_THREAD = dict.fromkeys(
    ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"), "1"
)
"""Read by the numeric libraries as they load: a process a core is enough, threads would fight over them."""


class Workers:
    """Hears up to ``jobs`` takes at a time, each with ``listen`` in a process of its own.

    Processes start as takes come and call ``prepare`` first. Both functions are found by name in
    the new process. Leaving the context ends them all, whatever they are at.
    """

    def __init__(self, jobs: int, listen: Listen, prepare: Callable[[], None]) -> None:
        self._jobs, self._work = jobs, (listen, prepare)
        self._waiting: deque[Request] = deque()
        self._busy: dict[Connection, _Task] = {}
        self._idle: list[_Worker] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        for worker in (*self._idle, *(task.worker for task in self._busy.values())):
            worker.end()

    @property
    def full(self) -> bool:
        """Whether every process has a take and one more lies ready, so that none waits for the next."""
        return len(self._busy) + len(self._waiting) > self._jobs

    def begin(self, request: Request) -> None:
        """Hand the take to a process, or keep it until one is free."""
        self._waiting.append(request)
        self._hand_out()

    def wait(self) -> tuple[Request, Answer]:
        """Return the answer of whichever process is done first."""
        task = self._busy.pop(self._next_pipe())
        found = self._answer_of(task)
        self._hand_out()
        if isinstance(found, Exception) and not isinstance(found, TakeError):
            raise found
        return task.request, found

    def _next_pipe(self) -> Connection:
        """Wait for a process that has answered, has died, or is out of time."""
        due_s, pipe = min(((task.due_s, pipe) for pipe, task in self._busy.items()), key=itemgetter(0))
        ready = connection.wait(list(self._busy), max(due_s - monotonic(), 0.0))
        found = ready[0] if ready else pipe
        assert isinstance(found, Connection)
        return found

    def _answer_of(self, task: "_Task") -> Answer | Exception:
        take = task.request.asked.path
        try:
            if not task.worker.pipe.poll():
                task.worker.end()
                return _out_of_time(take, task.request.asked.settings.hearing.time_limit_s)
            found: Answer | Exception = task.worker.pipe.recv()
        except (EOFError, OSError):
            return _died_of(take, task.worker.end())
        self._idle.append(task.worker)
        return found

    def _hand_out(self) -> None:
        while self._waiting and len(self._busy) < self._jobs:
            worker = self._idle.pop() if self._idle else _Worker(*self._work)
            try:
                worker.pipe.send(self._waiting[0])
            except OSError:  # it died while it had nothing to do
                worker.end()
            else:
                self._busy[worker.pipe] = _Task.begin(worker, self._waiting.popleft())


class _Worker:
    """The parent's side of one process."""

    def __init__(self, listen: Listen, prepare: Callable[[], None]) -> None:
        self.pipe, theirs = _SPAWN.Pipe()
        self._process = _SPAWN.Process(target=_serve, args=(theirs, listen, prepare), daemon=True)
        with _deaf_to_interrupts():
            self._process.start()
        theirs.close()  # so that this side reads an end when the process dies

    def end(self) -> int | None:
        """End the process, if it has not ended; return its exit code, the negative signal if one ended it."""
        self.pipe.close()
        self._process.kill()
        self._process.join()
        return self._process.exitcode


@dataclass(frozen=True, slots=True)
class _Task:
    """A take in a process, and when it is to be done, by the clock of ``time.monotonic``."""

    worker: _Worker
    request: Request
    due_s: float

    @classmethod
    def begin(cls, worker: _Worker, request: Request) -> "_Task":
        return cls(worker, request, monotonic() + request.asked.settings.hearing.time_limit_s)


@contextmanager
def _deaf_to_interrupts() -> Iterator[None]:
    """Hold Ctrl-C back; processes started meanwhile never hear it, since the parent ends them."""
    if sys.platform == "win32":  # no signals to hold back there
        yield
        return
    resource_tracker.ensure_running()  # it would let Ctrl-C through as it starts
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def as_it_comes() -> None:
    """Prepare nothing."""


def _serve(pipe: Connection, listen: Listen, prepare: Callable[[], None]) -> None:
    """Hear what comes through the pipe until it closes: the life of a process."""
    os.environ.update(_ONE_THREAD)
    look_seldom()
    Thread(target=_end_with_parent, daemon=True).start()
    prepare()
    with suppress(EOFError, BrokenPipeError):
        while True:
            pipe.send(_answer(listen, pipe.recv()))


def _end_with_parent() -> None:
    """End this process at once when its parent is gone, in the middle of a take too."""
    if parent := parent_process():
        parent.join()
        os._exit(1)


def _answer(listen: Listen, request: Request) -> Answer | Exception:
    try:
        return answer(listen, request)
    except Exception as bug:
        import traceback  # noqa: PLC0415  hardly ever needed

        bug.add_note("".join(traceback.format_exception(bug)))
        return bug


def _out_of_time(take: Path, limit_s: float) -> TakeError:
    problem = f"took longer than {limit_s:,.0f} s to hear"
    return TakeError(take, problem, "cut it up, or raise hearing.time_limit_s in takemill.toml")


def _died_of(take: Path, exit_code: int | None) -> TakeError:
    again = "it is tried again with the next run"
    if exit_code == -signal.SIGKILL:
        problem = "the process hearing it was killed, perhaps for want of memory"
        return TakeError(take, problem, f"{again}; give --jobs a smaller number")
    how = signal.Signals(-exit_code).name if exit_code and exit_code < 0 else f"exit status {exit_code}"
    problem = f"the process hearing it died ({how})"
    return TakeError(take, problem, f"{again}; if it dies again, export the take as WAV or FLAC")
