"""What a library prints by itself is kept from the player's terminal."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock

_STDERR = 2


class _Hush:
    """Standard error of the process, turned away while anyone asks for it."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._asking, self._kept = 0, -1

    def begin(self) -> None:
        with self._lock:
            self._asking += 1
            if self._asking == 1:
                self._kept = _turned_away()

    def end(self) -> None:
        with self._lock:
            self._asking -= 1
            if self._asking == 0 and self._kept >= 0:
                os.dup2(self._kept, _STDERR)
                os.close(self._kept)


_PROCESS = _Hush()
"""One a process, as is what it stands for: two threads may read at once."""


@contextmanager
def hushed() -> Iterator[None]:
    """Keep standard error silent: the MP3 decoder in libsndfile writes its doubts there, many a file.

    What is wrong with a take is told by what the decoder returns.
    """
    _PROCESS.begin()
    try:
        yield
    finally:
        _PROCESS.end()


def _turned_away() -> int:
    """Point standard error nowhere; return where it pointed, -1 where it is closed."""
    try:
        kept = os.dup(_STDERR)
    except OSError:
        return -1
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, _STDERR)
    os.close(nowhere)
    return kept
