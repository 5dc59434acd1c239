"""Files opened without waiting, and only if they are files: no pipes, sockets, devices or folders.

A name may be given to something else between the look at a folder and the opening, so what was opened
is asked itself.
"""

import errno
import os
import stat
from io import BufferedReader, FileIO
from pathlib import Path
from typing import BinaryIO

from batch.errors import TakeError

_WITHOUT_WAITING = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0)
"""A pipe that nobody writes to would hold up its opener for ever (POSIX.1, open); files are read as ever."""


class NotRegularError(OSError):
    """What has the name is no file; ``strerror`` says what it is."""


class TooLargeError(OSError):
    """The file holds more than its reader is ready to keep in memory."""


_WORDS: tuple[tuple[type[OSError], str, str], ...] = (
    (NotRegularError, "{}, no recording", "take it out of the folder"),
    (TooLargeError, "{}, too much for its kind", "export it again"),
    (FileNotFoundError, "is not there any more", "put it back, or forget it"),
    (IsADirectoryError, "is a folder, no recording", "take the ending off its name"),
    (PermissionError, "may not be read", "give yourself read permission"),
)

_NO_OPENING = frozenset({errno.ENXIO, errno.EOPNOTSUPP})
"""What Linux and macOS say of a socket, and of a device that is not there (open(2))."""


def open_regular(path: Path) -> "BufferedReader[FileIO]":
    """Open a file to be read; its size is ``size_of`` the stream's.

    Raises
    ------
    OSError
        If it cannot be opened; :class:`NotRegularError` if it is no file.
    """
    try:
        raw = FileIO(path, opener=_open)
    except OSError as error:
        if error.errno in _NO_OPENING:
            raise NotRegularError(errno.EINVAL, "is a socket or a device", str(path)) from error
        raise
    mode = os.fstat(raw.fileno()).st_mode
    if stat.S_ISREG(mode):
        return BufferedReader(raw)
    raw.close()
    what = "a pipe" if stat.S_ISFIFO(mode) else "a device"
    raise NotRegularError(errno.EINVAL, f"is {what}", str(path))


def read_regular(path: Path, most_bytes: int) -> bytes:
    """Return what a small file holds; OSError as from :func:`open_regular`, TooLargeError if that is more."""
    with open_regular(path) as stream:
        size = size_of(stream)
        if size > most_bytes:
            raise TooLargeError(errno.EFBIG, f"holds more than {most_bytes:,} bytes", str(path))
        return stream.read(size)


def read_whole(path: Path) -> bytes:
    """Return what a file of ours holds, however large; OSError as from :func:`open_regular`."""
    with open_regular(path) as stream:
        return stream.read()


def size_of(stream: BinaryIO) -> int:
    """Return the size of the opened file in bytes, whatever has its name by now."""
    return os.fstat(stream.fileno()).st_size


def unreadable(path: Path, error: OSError) -> TakeError:
    """Return the error for a file that the system, or what it is, will not let us read."""
    for kind, problem, remedy in _WORDS:
        if isinstance(error, kind):
            return TakeError(path, problem.format(error.strerror), remedy)
    if error.errno == errno.ELOOP:
        return TakeError(path, "is a link that leads in a circle", "put the recording itself there")
    return TakeError(path, f"cannot be read ({error.strerror or error})", "check the disk it is on")


def _open(path: str, flags: int) -> int:
    return os.open(path, flags | _WITHOUT_WAITING)
