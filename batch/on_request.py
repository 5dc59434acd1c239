"""What may go wrong with a file on request: told in one line, while everything else goes on."""

import os
import traceback
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

from batch.errors import BatchError
from batch.marks import is_by_us
from batch.names import MADE_BY
from batch.outputs import is_ours, write_whole
from batch.regular import read_whole

LEFT_ALONE = "is not by takemill and was left alone; move it away"
_REMEDY = "mend it, or do not ask for it"
UNMARKED = (
    f"its exporter does not put '{MADE_BY}' near its start or end, so it could never be kept up; {_REMEDY}"
)


def attempt(path: Path, write: Callable[[], object]) -> str | None:
    """Have the file at ``path`` written, unless one is there that is not ours; return what went wrong.

    Whatever an exporter raises is its own fault, and costs no other file anything.
    """
    if os.path.lexists(path) and not is_ours(path):
        return f"{path}: {LEFT_ALONE}"
    try:
        write()
    except BatchError as error:
        return f"{path}: not written: {error}"
    except OSError as error:
        if error.filename is not None and Path(error.filename).parent != path.parent:
            return f"{path}: not written: {error.filename} cannot be read ({error.strerror}); put it back"
        return f"{path}: cannot be written ({error.strerror or error}); make room or give permission there"
    except (Exception, SystemExit) as error:
        return f"{path}: not written: {fault(error)}"
    return None


def checked(content: object, path: Path) -> bytes:
    """Return what an exporter made of the file at ``path``, if that may be written there.

    Raises
    ------
    BatchError
        If it is no bytes, or does not show who made it: it would never be written over.
    """
    if not isinstance(content, bytes):
        raise BatchError(f"its exporter made {type(content).__name__}, not bytes; {_REMEDY}")
    if not is_by_us(BytesIO(content), path.name):
        raise BatchError(UNMARKED)
    return content


def bring_up(path: Path, render: Callable[[], bytes], trouble: list[str]) -> bool:
    """Have a file written if it is not there with this content; return whether it was.

    What goes wrong is added to ``trouble``.
    """
    written = False

    def write() -> None:
        nonlocal written
        content = checked(render(), path)
        if not (path.is_file() and read_whole(path) == content):
            write_whole(path, content)
            written = True

    if problem := attempt(path, write):
        trouble.append(problem)
    return written


def fault(error: BaseException) -> str:
    """Return an exporter's fault in words, and where in its code it lies."""
    *_, place = traceback.extract_tb(error.__traceback__)
    where = f"{Path(place.filename).name}, line {place.lineno}"
    return f"its exporter fails ({said_by(error)}; {where}); {_REMEDY}"


def said_by(error: BaseException) -> str:
    """Return an exception in words, also one that cannot be put into any."""
    try:
        return f"{type(error).__name__}: {error}"
    except Exception:
        return type(error).__name__
