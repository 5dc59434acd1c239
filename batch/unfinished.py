"""Signs that a file which stands still is not finished: a recorder on pause, a copy that stalls."""

import os
import sys
from contextlib import suppress
from pathlib import Path

from batch.errors import TakeError
from batch.regular import open_regular
from batch.sound.promises import refuse_cut_short

_HEAD_BYTES = 64


def is_open_for_writing(path: Path) -> bool:
    """Return whether a program on this machine has the file open for writing, as far as can be told.

    Linux grants a read lease on a file only while nobody has it open for writing (fcntl(2),
    F_SETLEASE), and only to its owner; elsewhere, and of others' files, the answer is no.
    """
    if sys.platform != "linux":
        return False
    import fcntl  # noqa: PLC0415  not everywhere
    import signal  # noqa: PLC0415

    try:
        handle = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    except OSError:
        return False
    before = signal.signal(signal.SIGIO, signal.SIG_IGN)  # what comes of a lease that is in the way
    try:
        fcntl.fcntl(handle, fcntl.F_SETLEASE, fcntl.F_RDLCK)
        fcntl.fcntl(handle, fcntl.F_SETLEASE, fcntl.F_UNLCK)
    except BlockingIOError:
        return True
    except OSError:
        return False
    finally:
        os.close(handle)
        signal.signal(signal.SIGIO, before)
    return False


def is_incomplete(path: Path) -> bool:
    """Return whether a file is empty, reserved and not written, or shorter than its header promises."""
    with suppress(OSError):
        with open_regular(path) as stream:
            if not any(stream.read(_HEAD_BYTES)):
                return True
        try:
            refuse_cut_short(path)
        except TakeError:
            return True
    return False
