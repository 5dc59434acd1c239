"""Which file beside a take is its chord chart."""

import os
from collections.abc import Iterator
from fnmatch import fnmatchcase
from pathlib import Path

from batch.companions import TAKE
from batch.kinds import is_hidden
from batch.settings import GridSettings, Settings

MUSICXML_SUFFIXES = (".musicxml", ".xml", ".mxl")
CHART_SUFFIXES = (".txt", *MUSICXML_SUFFIXES)
"""In the order in which they are looked for: what a player types comes first."""

MOST_CHART_BYTES = 4 << 20
"""What is read of a chart: a lead sheet has a fortieth of it (our choice)."""

_ENDING = ".chords"


def chart_of(take: Path, chosen: GridSettings) -> Path | None:
    """Return the chart of ``take``; None where there is none.

    That which the settings name; else ``NAME.chords.txt`` beside it (or ``.musicxml``, ``.xml``, ``.mxl``),
    else ``chords.txt``, which is every take's in its folder.
    """
    if chosen.chart is not None:
        named = take.with_name(chosen.chart.replace(TAKE, take.stem))
        return named if os.path.isfile(named) else None
    stems = (f"{take.stem}{_ENDING}", "chords")
    beside = (take.with_name(f"{stem}{suffix}") for stem in stems for suffix in CHART_SUFFIXES)
    return next((path for path in beside if os.path.isfile(path)), None)


def is_chart_name(name: str, settings: Settings) -> bool:
    """Return whether a file of this name is a chart in a folder with these settings."""
    path = Path(name)
    if path.suffix.lower() not in CHART_SUFFIXES or is_hidden(name):
        return False
    stem = path.stem.lower()
    return (
        stem == "chords" or stem.endswith(_ENDING) or any(fnmatchcase(name, p) for p in _patterns(settings))
    )


def _patterns(settings: Settings) -> Iterator[str]:
    for section in (settings.grid, *settings.takes.values()):
        if section.chart is not None:
            literal = "".join(f"[{c}]" if c in "*?[" else c for c in section.chart)
            yield literal.replace(TAKE, "*")
