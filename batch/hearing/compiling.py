"""Functions compiled for speed, once for all processes and runs."""

import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from typing import Any

from numba import njit

try:
    import fcntl
except ImportError:  # a system without it: processes that start together each compile
    fcntl = None  # type: ignore[assignment]


def compiled(function: Callable[..., Any]) -> Any:
    """Return ``function`` compiled, kept on disk where a folder for that can be written."""
    try:
        return njit(cache=True)(function)
    except RuntimeError:  # numba finds no folder to write to
        return njit(function)


@contextmanager
def one_at_a_time(function: Any) -> Iterator[None]:
    """Let processes that start together wait for the first to compile what is compiled in here.

    The folder where the code of ``function`` is kept is locked, which ends with the process
    that locked it.
    """
    with ExitStack() as lock:
        with suppress(OSError, TypeError, AttributeError):  # no folder, or one that cannot be locked
            folder = os.open(function.stats.cache_path, os.O_RDONLY)
            lock.callback(os.close, folder)
            fcntl.flock(folder, fcntl.LOCK_EX)
        yield
