"""Numbers and words under the blocks of a row: as much as there is room for, and never one over another."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from batch.inert import inert
from batch.model import Groove, LabelledPhrase
from exporters.pictures.svg import PLAIN, SMALL, width_of

AIR = 5.0
"""Points between words side by side (our choice)."""
NUMBER = "strong"
"""The class of a phrase's number."""
_NUMBER_LINES = 3
"""Lines that numbers may take where phrases crowd."""


@dataclass(frozen=True, slots=True)
class Caption:
    """A line of text: where it starts, on which line under the blocks (from 0), and its class."""

    x: float
    line: int
    text: str
    size: float
    kind: str


@dataclass(frozen=True, slots=True)
class Named:
    """A phrase to be named where its block starts."""

    x: float
    number: int
    phrase: LabelledPhrase


def captions_of(named: Sequence[Named], right: float) -> tuple[list[Caption], int]:
    """Return the captions of a row that ends at ``right``, and how many phrases have their words."""
    captions: list[Caption] = []
    worded = 0
    taken = [0.0] * _NUMBER_LINES
    for i, each in enumerate(named):
        room = (named[i + 1].x - AIR if i + 1 < len(named) else right) - each.x
        number = _number(each, taken, right)
        if number is None:
            continue
        captions.append(number)
        taken[number.line] = number.x + width_of(number.text, PLAIN, strong=True) + AIR
        if number.line == 0 and number.x == each.x and max(taken[1:]) <= each.x:
            lines = next((lines for lines in wordings(each.phrase) if _fits(lines, room)), ())
            worded += bool(lines)
            captions += [Caption(each.x, at, line, SMALL, "") for at, line in enumerate(lines, start=1)]
            end = max((each.x + width_of(line, SMALL) + AIR for line in lines), default=0.0)
            taken[1:] = [max(until, end) for until in taken[1:]]
    return captions, worded


def wordings(phrase: LabelledPhrase) -> Iterator[tuple[str, ...]]:
    """Yield what may stand under a block, line by line, the fullest first; the last says no groove."""
    labels = phrase.labels
    length, density = labels.length.value, labels.density.value
    devices = inert(", ".join(dict.fromkeys(device.name for device in phrase.evidence.devices)))
    if labels.groove is Groove.UNMEASURED:
        yield (f"{length} {density}",)
        yield length, density
    elif labels.groove is Groove.IN_GROOVE:
        yield f"{length} {density}", "in groove"
        yield length, density, "in groove"
        yield length, density
    else:
        if devices:
            yield f"{length} {density}", f"against: {devices}"
            yield f"{length} {density}", devices
            yield length, density, devices
        yield f"{length} {density}", "against groove"
        yield length, density, "against"
        yield length, density


def _fits(lines: Sequence[str], room: float) -> bool:
    return max(width_of(line, SMALL) for line in lines) <= room


def _number(named: Named, taken: Sequence[float], right: float) -> Caption | None:
    """Return the number on the first line that is free there; None where none is."""
    text = str(named.number)
    x = min(named.x, right - width_of(text, PLAIN, strong=True))
    line = next((line for line, until in enumerate(taken) if x >= until), None)
    return None if line is None else Caption(x, line, text, PLAIN, NUMBER)
