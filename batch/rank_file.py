"""The file that a ranking goes to: what its ending and its place tell, and that it is nobody else's."""

import os
import re
import stat
from pathlib import Path
from typing import TextIO

from batch.errors import BatchError
from batch.outputs import write_whole
from batch.regular import open_regular

TABLE = "table"
_BY_ENDING = {".xspf": "xspf", ".m3u8": "m3u8", ".m3u": "m3u8", ".csv": "csv", ".json": "json"}
_LOOKED_AT_BYTES = 64 << 10


def format_for(asked: str | None, out: Path | None) -> str:
    """Return the format asked for, else the one that the file's ending tells.

    Raises
    ------
    BatchError
        If the ending tells none, or a table is to go to a file.
    """
    if out is None:
        return asked or TABLE
    if asked == TABLE:
        raise BatchError(f"--out {out}: a table is for the terminal; ask for --format csv")
    found = asked or _BY_ENDING.get(out.suffix.lower())
    if found is None:
        raise BatchError(f"--out {out}: its ending tells no format; end it in {', '.join(_BY_ENDING)}")
    return found


def check(out: Path, ours: re.Pattern[bytes]) -> None:
    """See that a ranking may go to ``out``; a file of ours there begins as ``ours`` does.

    Raises
    ------
    BatchError
        If there is a folder or a file by somebody else, or no folder to hold it.
    """
    if os.path.isdir(out):
        raise BatchError(f"{out}: is a folder; name a file in it")
    if not os.path.isdir(out.parent):
        raise BatchError(f"{out.parent}: there is no such folder; make it first")
    if not os.path.lexists(out):
        return
    try:
        with open_regular(out) as stream:
            is_ours = ours.match(stream.read(_LOOKED_AT_BYTES)) is not None
    except OSError as error:
        raise BatchError(f"{out}: cannot be read ({error.strerror}); name another file") from error
    if not is_ours:
        raise BatchError(f"{out}: is no such ranking by takemill and was left alone; name another file")


def behind(stream: TextIO) -> Path | None:
    """Return the file that a stream goes to, by a shell's ``>``; None where that is none, or not told.

    Linux tells it (proc(5), /proc/self/fd).
    """
    try:
        is_file = stat.S_ISREG(os.fstat(stream.fileno()).st_mode)
        path = Path(os.readlink(f"/proc/self/fd/{stream.fileno()}"))  # noqa: PTH115  Path.readlink is no simpler
    except (OSError, ValueError):
        return None
    return path if is_file and os.path.isfile(path) else None


def write(out: Path, content: bytes) -> None:
    """Write a ranking whole.

    Raises
    ------
    BatchError
        If the disk is full or the folder refuses.
    """
    try:
        write_whole(out, content)
    except OSError as error:
        problem = f"{out}: cannot be written ({error.strerror})"
        raise BatchError(f"{problem}; give permission or make room there, or name another file") from error
