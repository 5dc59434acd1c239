"""Which file beside a take is its chord chart, and how warnings name it."""

import os
import re
from collections.abc import Iterator
from dataclasses import replace
from fnmatch import fnmatchcase
from pathlib import Path

from batch.companions import TAKE
from batch.kinds import is_hidden
from batch.model import Analysis
from batch.settings import GridSettings, Settings

MUSICXML_SUFFIXES = (".musicxml", ".xml", ".mxl")
CHART_SUFFIXES = (".txt", *MUSICXML_SUFFIXES)
"""In the order in which they are looked for: what a player types comes first."""

MOST_CHART_BYTES = 4 << 20
"""What is read of a chart: a lead sheet has a fortieth of it (our choice)."""

_ENDING = ".chords"

_HEAD, _UNUSED = "chord chart", "is not used:"
_ABOUT = re.compile(
    rf"{_HEAD} .+?(?:{'|'.join(map(re.escape, CHART_SUFFIXES))})(?= )", re.IGNORECASE | re.DOTALL
)


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


def about_chart(name: str, said: str) -> str:
    """Return a warning about the chart called ``name``."""
    return f"{_HEAD} {name} {said}"


def chart_unused(name: str, why: str) -> str:
    """Return the warning that a take was heard without the chart called ``name``."""
    return about_chart(name, f"{_UNUSED} {why}")


def tells_unused(warning: str) -> bool:
    """Return whether a warning says that a take was heard without its chart."""
    return warning.startswith(f"{_HEAD} ") and f" {_UNUSED} " in warning


def with_chart_named(analysis: Analysis, chart: Path | None) -> Analysis:
    """Return an analysis that names its chart as it is called now; a take may be renamed with its chart."""
    if chart is None:
        return analysis
    warnings = tuple(
        _ABOUT.sub(lambda _: f"{_HEAD} {chart.name}", warning, count=1)
        if warning.startswith(f"{_HEAD} ")
        else warning
        for warning in analysis.warnings
    )
    harmony = replace(analysis.harmony, chart=chart.name) if analysis.harmony else None
    return replace(analysis, warnings=warnings, harmony=harmony)
