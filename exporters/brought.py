"""Exporters that other installed packages bring: loaded with care, for their faults are nobody's here."""

import re
from functools import cache
from importlib.metadata import EntryPoint

from batch.errors import BatchError
from batch.kinds import TAKE_SUFFIXES, is_take_name
from batch.names import BROUGHT_TAKE_ENDING, TAKEN_NAMES
from batch.settings import Settings
from exporters.base import Extra, Ready

_SUFFIX = re.compile(r"(\.[A-Za-z0-9_-]+)+")
"""Letters that every file system takes (the portable file name character set, POSIX.1 3.265)."""
_NAME = re.compile(r"[A-Za-z0-9_-]+(\.[A-Za-z0-9_-]+)+")
LONGEST_SUFFIX = 32
"""Bytes that a take's name leaves for what it ends in (``names.LONGEST_NAME``)."""


def ready(entry_point: EntryPoint, settings: Settings, taken: tuple[str, ...]) -> Ready:
    """Return the exporter that an entry point names, made by the settings.

    Raises
    ------
    BatchError
        If it cannot be loaded or made, or would write to names that are ``taken`` or that no file may have.
    """
    try:
        made = _loaded(entry_point).ready(settings)
        endings = (*made.take_suffixes, *made.session_suffixes)
    except BatchError as error:
        raise BatchError(f"--export {entry_point.name}: {error}") from error
    except (Exception, SystemExit) as error:
        raise _refused(entry_point, f"fails ({type(error).__name__}: {error})") from error
    for file_name in made.file_names:
        if not _NAME.fullmatch(file_name) or file_name in TAKEN_NAMES or is_take_name(file_name):
            raise _refused(entry_point, f"writes to {file_name!r}, which is taken or no name such as all.txt")
    for suffix in endings:
        if problem := _problem(suffix, taken):
            raise _refused(entry_point, f"writes to names that end in {suffix!r}, {problem}")
    return made


@cache
def _loaded(entry_point: EntryPoint) -> Extra:
    extra = entry_point.load()
    if not isinstance(extra, Extra):
        raise TypeError(f"{entry_point.value} is no exporters.base.Extra")
    return extra


def _problem(suffix: str, taken: tuple[str, ...]) -> str | None:
    """Return why no file's name may end so; None if it may."""
    if not _SUFFIX.fullmatch(suffix):
        return "which is no ending such as .words.txt"
    if len(suffix) > LONGEST_SUFFIX:
        return f"longer than {LONGEST_SUFFIX} characters"
    if any(suffix.endswith(other) or other.endswith(suffix) for other in taken):
        return "which is taken"
    stem, _, kind = suffix.rpartition(".")
    if f".{kind.lower()}" in TAKE_SUFFIXES and not BROUGHT_TAKE_ENDING.search(stem):
        return f"as takes do; it must be like .words-markers.{kind}"
    return None


def _refused(entry_point: EntryPoint, problem: str) -> BatchError:
    package = f" of the package {entry_point.dist.name}" if entry_point.dist else ""
    return BatchError(
        f"--export {entry_point.name}: the exporter{package} {problem}; mend it, or do not ask for it"
    )
