"""Files as readers want them: whole, or not there."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from batch.marks import is_by_us
from batch.regular import open_regular

PARTIAL_PREFIX = ".takemill-"
"""Start of a temporary file's name; hidden, so that nothing takes it for a result."""


def write_whole(path: Path, content: bytes) -> None:
    """Write ``content`` to ``path`` so that a reader sees the old file or the new one, never half.

    Raises
    ------
    OSError
        If the disk is full or the folder refuses; ``path`` is then as it was.
    """
    with whole(path) as stream:
        stream.write(content)


@contextmanager
def whole(path: Path) -> Iterator[BinaryIO]:
    """Open a stream, also to be read and sought, whose content becomes the file ``path`` at the end.

    The bytes go to a temporary file in the same folder, are flushed to disk, and take the
    name in one step (rename, POSIX.1). If the block raises, ``path`` is as it was.

    Raises
    ------
    OSError
        If the disk is full or the folder refuses; ``path`` is then as it was.
    """
    handle, partial = tempfile.mkstemp(prefix=PARTIAL_PREFIX, dir=path.parent)
    try:
        with os.fdopen(handle, "w+b") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        Path(partial).chmod(0o666 & ~_umask())
        Path(partial).replace(path)
    except BaseException:
        with suppress(OSError):
            Path(partial).unlink()
        raise


def is_ours(path: Path) -> bool:
    """Return whether there is a file that takemill wrote."""
    try:
        with open_regular(path) as stream:
            return is_by_us(stream, path.name)
    except OSError:
        return False


def sweep_partials(folder: Path) -> None:
    """Remove temporary files that a killed run left in ``folder``."""
    for path in folder.glob(f"{PARTIAL_PREFIX}*"):
        with suppress(OSError):
            path.unlink()


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
