"""Files as readers want them: whole, or not there."""

import os
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from batch.names import HTML_MARK, KNOWN_BY_NAME, MADE_BY, SVG_MARK
from batch.regular import open_regular, size_of

PARTIAL_PREFIX = ".takemill-"
"""Start of a temporary file's name; hidden, so that nothing takes it for a result."""

_MARK = re.compile("|".join(map(re.escape, (MADE_BY, HTML_MARK, SVG_MARK))).encode())
_MARK_WITHIN_BYTES, _MARK_WITHIN_LAST_BYTES = 64 << 10, 4 << 10
"""Where a mark stands: before what may be long, or at the very end (our choice)."""


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
    """Return whether there is a file that takemill wrote: by its mark, or by its name where it bears none."""
    if path.name.endswith(KNOWN_BY_NAME):
        return os.path.isfile(path)
    try:
        with open_regular(path) as stream:
            if _MARK.search(stream.read(_MARK_WITHIN_BYTES)):
                return True
            stream.seek(max(0, size_of(stream) - _MARK_WITHIN_LAST_BYTES))
            return _MARK.search(stream.read(_MARK_WITHIN_LAST_BYTES)) is not None
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
