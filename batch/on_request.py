"""What may go wrong with a file on request: told in one line, while everything else goes on."""

import os
import traceback
from collections.abc import Callable
from pathlib import Path

from batch.errors import BatchError
from batch.outputs import is_ours, write_whole
from batch.regular import read_whole


def attempt(path: Path, write: Callable[[], object]) -> str | None:
    """Have the file at ``path`` written, unless one is there that is not ours; return what went wrong.

    Whatever an exporter raises is its own fault, and costs no other file anything.
    """
    if os.path.lexists(path) and not is_ours(path):
        return f"{path}: is not by takemill and was left alone; move it away"
    try:
        write()
    except BatchError as error:
        return f"{path}: not written: {error}"
    except OSError as error:
        return f"{path}: cannot be written ({error.strerror or error}); make room or give permission there"
    except Exception as error:
        return f"{path}: not written: {_fault(error)}"
    return None


def bring_up(path: Path, render: Callable[[], bytes], trouble: list[str]) -> bool:
    """Have a file written if it is not there with this content; return whether it was.

    What goes wrong is added to ``trouble``.
    """
    written = False

    def write() -> None:
        nonlocal written
        content = render()
        if not (path.is_file() and read_whole(path) == content):
            write_whole(path, content)
            written = True

    if problem := attempt(path, write):
        trouble.append(problem)
    return written


def _fault(error: Exception) -> str:
    """Return an exporter's fault in words, and where in its code it lies."""
    *_, place = traceback.extract_tb(error.__traceback__)
    where = f"{Path(place.filename).name}, line {place.lineno}"
    return f"its exporter fails ({type(error).__name__}: {error}; {where}); mend it, or do not ask for it"
