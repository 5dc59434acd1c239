"""Who is at work in an output folder: one watcher at most, and one process that writes at a time.

Each role is a lock on a small hidden file, which the system lets go of when its holder ends, however
it ends. The holder takes the file away; that of a killed one stays until the next.
"""

import os
import socket
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from enum import StrEnum
from pathlib import Path

from fasteners.process_lock import InterProcessLock

from batch.errors import BatchError

_PASSING_S = 0.3
"""How long a lock may be taken by someone who only looks whether it is."""


class Role(StrEnum):
    """What only one process does in an output folder."""

    WATCHING = "watching"
    WRITING = "writing"


@contextmanager
def hold(folder: Path, role: Role, *, meanwhile: Callable[[], None] | None = None) -> Iterator[None]:
    """Have ``role`` in ``folder`` for as long as the context lasts.

    Where another process has it, wait for it to let go if ``meanwhile`` is given, which is
    called once as the waiting begins.

    Raises
    ------
    BatchError
        If another process has it and is not waited for, or the folder refuses.
    """
    lock = InterProcessLock(_file(folder, role))
    try:
        if not _acquire(lock, folder, _PASSING_S):
            if meanwhile is None:
                problem = f"{folder}: another takemill is {role.value} here already"
                raise BatchError(f"{problem}; stop that one first, or choose another --out")
            meanwhile()
            _acquire(lock, folder, None)
        yield
    finally:
        if lock.acquired:
            _let_go(lock, folder, role)


def tidy(folder: Path, role: Role) -> None:
    """Take away the file that a killed holder left."""
    if _file(folder, role).exists():
        with suppress(BatchError), hold(folder, role):
            pass


def is_held(folder: Path, role: Role) -> bool:
    """Return whether another process has ``role`` in ``folder``; False where that cannot be told."""
    try:
        with _file(folder, role).open("rb") as stream:
            return _is_locked(stream.fileno())
    except OSError:
        return False


def myself() -> str:
    """Return how others may call this process."""
    return f"process {os.getpid()} on {socket.gethostname()}"


def _acquire(lock: InterProcessLock, folder: Path, timeout_s: float | None) -> bool:
    """Lock the file that has the name; one that its holder took away meanwhile is locked in vain."""
    try:
        while lock.acquire(timeout=timeout_s):
            if _is_there(lock):
                return True
            lock.release()
        lock.lockfile.close()
        return False
    except OSError as error:
        why = error.strerror
    except threading.ThreadError as error:  # a file system that has no locks
        why = str(error)
    raise BatchError(f"{folder}: cannot be written to ({why}); choose another --out")


def _is_locked(handle: int) -> bool:
    """Return whether another process has a lock on a file, which may only be read."""
    if sys.platform == "win32":
        return True  # nobody keeps the file who does not hold it, but for one that was killed
    import fcntl  # noqa: PLC0415  not everywhere

    try:
        fcntl.lockf(handle, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):  # EAGAIN or EACCES (POSIX.1, fcntl)
        return True
    return False


def _is_there(lock: InterProcessLock) -> bool:
    try:
        return os.path.samestat(os.fstat(lock.lockfile.fileno()), os.stat(lock.path))  # noqa: PTH116  bytes
    except FileNotFoundError:
        return False


def _let_go(lock: InterProcessLock, folder: Path, role: Role) -> None:
    """Take the file away while it is locked, so that nobody locks one that is about to go."""
    with suppress(OSError):  # the folder may be gone; systems that do not remove open files keep it
        if _is_there(lock):
            _file(folder, role).unlink()
    lock.release()


def _file(folder: Path, role: Role) -> Path:
    return folder / f".{role.value}.lock"
