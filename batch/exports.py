"""What can be asked for by name, with ``--export`` and in the settings: ours, and other packages'."""

import re
from collections.abc import Mapping
from functools import cache
from importlib.metadata import EntryPoint, entry_points

GROUP = "takemill.exporters"
"""Entry points of this group bring exporters (Python Packaging User Guide, "Entry points specification")."""

OWN = ("notes", "page", "picture", "cue-points", "chapters", "playlist", "timeline", "webvtt")
"""Names of takemill's own; another package cannot take one of them."""

_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
"""Words of small letters and digits, with hyphens between (our choice)."""


@cache
def installed() -> Mapping[str, EntryPoint]:
    """Return the exporters that other installed packages bring, by name; none is loaded yet."""
    found = sorted(entry_points(group=GROUP), key=lambda one: (one.name, one.value))
    return {one.name: one for one in reversed(found) if _NAME.fullmatch(one.name) and one.name not in OWN}


def known() -> tuple[str, ...]:
    """Return all names that can be asked for."""
    return (*OWN, *sorted(installed()))
