"""How takemill words what it found: times, numbers, a take's beat and its variety."""

from collections import Counter
from collections.abc import Sequence

from batch.entry import Entry
from batch.inert import inert
from batch.model import Analysis, Variety


def clock(time_s: float) -> str:
    """Return a time as m:ss, or h:mm:ss from an hour on."""
    minutes, seconds = divmod(round(time_s), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{seconds:02}" if hours else f"{minutes}:{seconds:02}"


def minute(time_s: float) -> str:
    """Return a time as m:ss.t, or h:mm:ss.t from an hour on."""
    seconds, tenths = divmod(round(time_s * 10), 10)
    return f"{clock(seconds)}.{tenths}"


def count(number: int, noun: str) -> str:
    """Return how many there are: 1 take, 2 takes."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def number(value: float | None, decimals: int = 0) -> str:
    """Return a number, a dash where there is none."""
    return "-" if value is None else f"{value:.{decimals}f}"


def share(value: float | None) -> str:
    """Return a number of 0..1 as .07, to save a column."""
    return "-" if value is None else f"{value:.2f}".removeprefix("0")


def signed(value: float) -> str:
    """Return a whole number with its sign."""
    rounded = round(value)
    return f"{rounded:+d}" if rounded else "0"


def titles_of(entries: Sequence[Entry]) -> list[str]:
    """Return each take's title or file name, with the name of its files where two are alike."""
    labels = [inert(entry.title or entry.path.name) for entry in entries]
    uses = Counter(labels)
    return [
        label if uses[label] == 1 else f"{label} ({inert(entry.name or '')})"
        for label, entry in zip(labels, entries, strict=True)
    ]


def facts(analysis: Analysis) -> str:
    """Return what a take is, in a line, with its file's name where it has a title to stand above it."""
    take = analysis.take
    known = [take.file, clock(take.duration_s), grid_words(analysis)]
    return ", ".join(known if take.title else known[1:])


def grid_words(analysis: Analysis) -> str:
    """Return the tempo, and where it is known from."""
    grid = analysis.grid
    if grid is None:
        return "no grid"
    swing = "" if grid.swing_ratio is None else f", swing {grid.swing_ratio:.1f}"
    if not grid.trusted:
        return f"perhaps {grid.tempo_bpm:.0f} beats a minute"
    return f"{grid.tempo_bpm:.0f} beats a minute from {grid.source}{swing}"


def variety_words(analysis: Analysis) -> str:
    """Return the score with its range and its parts, or why there is none."""
    variety = analysis.variety
    if variety.score is None or variety.low is None or variety.high is None:
        return f"no variety score: {variety.why_null}"
    parts = ", ".join(f"{name.replace('_', ' ')} {number(value)}" for name, value in variety.parts.items())
    return f"variety {variety.score:.0f} ({variety.low:.0f} to {variety.high:.0f}): {parts}"


def never_words(variety: Variety) -> str:
    """Return which labels no phrase has; nothing where all are used, or nothing was measured."""
    words = [word for missing in variety.missing.values() for word in missing]
    return f"never {', '.join(words)}" if words else ""
