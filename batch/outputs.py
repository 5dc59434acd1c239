"""Files as readers want them: whole, or not there."""

import os
import re
import tempfile
from contextlib import suppress
from pathlib import Path

from batch.names import HTML_MARK, SVG_MARK
from batch.regular import open_regular

PARTIAL_PREFIX = ".takemill-"
"""Start of a temporary file's name; hidden, so that nothing takes it for a result."""

_MARK = re.compile("|".join(map(re.escape, (HTML_MARK, SVG_MARK))).encode())
_MARKED_SUFFIXES = frozenset({".html", ".svg"})
_MARK_WITHIN_BYTES = 4096
"""The mark stands before any style or script (our choice)."""


def write_whole(path: Path, content: bytes) -> None:
    """Write ``content`` to ``path`` so that a reader sees the old file or the new one, never half.

    The bytes go to a temporary file in the same folder, are flushed to disk, and take the
    name in one step (rename, POSIX.1).

    Raises
    ------
    OSError
        If the disk is full or the folder refuses; ``path`` is then as it was.
    """
    handle, partial = tempfile.mkstemp(prefix=PARTIAL_PREFIX, dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
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
    if path.suffix not in _MARKED_SUFFIXES:
        return os.path.isfile(path)
    try:
        with open_regular(path) as stream:
            return _MARK.search(stream.read(_MARK_WITHIN_BYTES)) is not None
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
