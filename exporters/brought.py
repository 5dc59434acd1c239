"""Exporters that other installed packages bring: loaded with care, for their faults are nobody's here."""

import re
from collections.abc import Collection
from functools import cache
from importlib.metadata import EntryPoint

from batch.errors import BatchError
from batch.exports import installed
from batch.kinds import TAKE_SUFFIXES, is_take_name
from batch.names import BROUGHT_TAKE_ENDING, TAKEN_ENDINGS, TAKEN_NAMES
from batch.on_request import said_by
from batch.settings import Settings
from exporters.base import Extra, Ready

LONGEST_SUFFIX = 32
"""Bytes that a take's name leaves for what it ends in (``names.LONGEST_NAME``)."""
_SUFFIX = re.compile(r"(\.[A-Za-z0-9_-]+)+")
_NAME = re.compile(r"[A-Za-z0-9_-]+(\.[A-Za-z0-9_-]+)+")
"""Letters that every file system takes (the portable file name character set, POSIX.1 3.265)."""


def brought(name: str, settings: Settings) -> Ready:
    """Return the exporter that a package brings by this name, made by the settings.

    Raises
    ------
    BatchError
        If it cannot be loaded or made, or would write to names that no file may have, that are taken, or that
        another package's exporter, before it by the alphabet, writes to.
    """
    entry_point, *others = installed()[name]
    if others:
        packages = ", ".join(map(_package, (entry_point, *others)))
        raise BatchError(f"--export {name}: {packages} both bring it; keep one of them installed")
    earlier = [_made(each[0], settings) for other, each in installed().items() if other < name]
    found = _made(entry_point, settings)
    if isinstance(found, BatchError):
        raise found
    return _checked(entry_point, found, [one for one in earlier if isinstance(one, Ready)])


def _made(entry_point: EntryPoint, settings: Settings) -> Ready | BatchError:
    try:
        made = _loaded(entry_point).ready(settings)
        # What is asked of it later is asked here first: anything may be wrong with it.
        for ending in (*_endings(made), *made.file_names):
            if not isinstance(ending, str):
                raise TypeError(f"{ending!r} is no file's name or ending")
    except BatchError as error:
        return BatchError(f"--export {entry_point.name}: {error}")
    except (Exception, SystemExit) as error:
        return _refusal(entry_point, f"fails ({said_by(error)})")
    return made


@cache
def _loaded(entry_point: EntryPoint) -> Extra:
    extra = entry_point.load()
    if not isinstance(extra, Extra):
        raise TypeError(f"{entry_point.value} is no exporters.base.Extra")
    return extra


def _checked(entry_point: EntryPoint, made: Ready, earlier: Collection[Ready]) -> Ready:
    taken = {ending.casefold() for one in earlier for ending in _endings(one)} | set(TAKEN_ENDINGS)
    names = {name.casefold() for one in earlier for name in one.file_names} | set(TAKEN_NAMES)
    for file_name in made.file_names:
        if not _NAME.fullmatch(file_name) or file_name.casefold() in names or is_take_name(file_name):
            raise _refusal(entry_point, f"writes to {file_name!r}, which is taken or no name such as all.txt")
    for suffix in _endings(made):
        if problem := _problem(suffix, taken):
            raise _refusal(entry_point, f"writes to names that end in {suffix!r}, {problem}")
    return made


def _endings(made: Ready) -> tuple[str, ...]:
    return (*made.take_suffixes, *made.session_suffixes)


def _problem(suffix: str, taken: Collection[str]) -> str | None:
    """Return why no file's name may end so; None if it may."""
    folded = suffix.casefold()
    if not _SUFFIX.fullmatch(suffix):
        return "which is no ending such as .words.txt"
    if len(suffix) > LONGEST_SUFFIX:
        return f"longer than {LONGEST_SUFFIX} characters"
    if any(folded.endswith(other) or other.endswith(folded) for other in taken):
        return "which is taken"
    stem, _, kind = folded.rpartition(".")
    if f".{kind}" in TAKE_SUFFIXES and not BROUGHT_TAKE_ENDING.search(stem):
        return f"as takes do; it must be like .words-markers.{kind}"
    return None


def _refusal(entry_point: EntryPoint, problem: str) -> BatchError:
    what = f"the exporter of {_package(entry_point)} {problem}; mend it, or do not ask for it"
    return BatchError(f"--export {entry_point.name}: {what}")


def _package(entry_point: EntryPoint) -> str:
    return f"the package {entry_point.dist.name}" if entry_point.dist else entry_point.value
