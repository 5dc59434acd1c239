"""What can be asked for by name, with ``--export`` and in the settings: ours, and other packages'."""

import re
from collections.abc import Mapping, Sequence
from functools import cache
from importlib.metadata import EntryPoint, entry_points

GROUP = "takemill.exporters"
"""Entry points of this group bring exporters (Python Packaging User Guide, "Entry points specification")."""

OWN = ("notes", "page", "picture", "cue-points", "chapters", "playlist", "timeline", "webvtt")
"""Names of takemill's own; another package cannot take one of them."""

_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
"""Words of small letters and digits, with hyphens between (our choice)."""


@cache
def installed() -> Mapping[str, Sequence[EntryPoint]]:
    """Return the exporters that other installed packages bring, by name; none is loaded yet.

    There should be one for each name.
    """
    found: dict[str, list[EntryPoint]] = {}
    for one in sorted(entry_points(group=GROUP), key=lambda one: (one.name, one.value)):
        if _NAME.fullmatch(one.name) and one.name not in OWN:
            found.setdefault(one.name, []).append(one)
    return found


def known() -> tuple[str, ...]:
    """Return all names that can be asked for."""
    return (*OWN, *sorted(installed()))
