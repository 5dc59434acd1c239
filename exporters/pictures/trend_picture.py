"""The picture of a trend: variety over time, what phrases were like, and what to practise next, on a page."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

from batch.settings import VarietySettings
from batch.trend.advice import practice_lines
from batch.trend.notes import dated_lines, nameless_lines
from batch.trend.periods import Per, day_words, name_of
from batch.trend.practice import Practice
from batch.trend.rows import Strand, Stretch, Trend
from batch.words import clock, count, number
from exporters.pictures.panels import STYLE, Axis, Frame, course, grid, levels, names_under
from exporters.pictures.svg import (
    HEAD,
    HEIGHT,
    LEFT,
    MARGIN,
    PLAIN,
    RIGHT,
    SMALL,
    as_file,
    cut,
    picture,
    width_of,
    words,
    wrapped,
)

MOST_STRANDS = 12
"""Tunes or players in a picture: more are counted (our choice)."""
_TITLES = {
    "long": "long",
    "dense": "dense",
    "against-groove": "against the groove",
    "staccato": "staccato",
    "low": "low in the range",
    "high": "high in the range",
    "leaps": "moving by leaps",
}
_VARIETY = "variety, 0 to 100"
_CONNECTED = "taking up or answering"
_ACROSS = 4
_NUMBERS = 20.0
"""Points left of a frame for its numbers."""
_INSIDE, _BETWEEN = 4.0, 75.0
"""Points from a frame's side, and the height between two of its lines, where words stand in it."""
_LINE = PLAIN + 3.5
_SMALL_LINE = SMALL + 3
_KEY = (
    "Ring or dot: a take. Line across: their mean. Grey: how far that may lie off (80 %), wide where takes "
    "are few. A gap: nothing was recorded."
)
_NO_SCORE = f"no take has a score; {VarietySettings().phrases_from} phrases or more are needed, by default"
_NO_GRADE = "Variety says how much phrases differ from one another. It is one ear's question, not a grade."


@dataclass(frozen=True, slots=True)
class Size:
    """How large the panels of a strand are, in points: of variety, of a label, and between rows of those."""

    variety: float
    label: float
    between: float

    def stretched(self, room: float) -> "Size":
        """Return it larger by what a page has left, within limits: two thirds of it for the variety."""
        more = min(max(room, 0.0), _MOST_STRETCH)
        return replace(self, variety=self.variety + more * 2 / 3, label=self.label + more / 6)


_ALONE, _AMONG_OTHERS = Size(110.0, 36.0, 26.0), Size(78.0, 24.0, 22.0)
_MOST_STRETCH = 120.0


def render_svg(trend: Trend, title: str) -> bytes:
    """Return SVG in UTF-8."""
    return as_file(trend_picture(trend, title))


def trend_picture(trend: Trend, title: str) -> str:
    """Return the picture as an ``svg`` element."""
    strands = trend.strands[:MOST_STRANDS]
    heading, said = f"{title} over time", _said(trend)
    y = MARGIN + HEAD
    drawn = [STYLE, words(LEFT, y, cut(heading, RIGHT - LEFT, HEAD, strong=True), size=HEAD, kind="strong")]
    y += _LINE + 5
    drawn.append(words(LEFT, y, said))
    notes = list(_notes(trend, len(strands)))
    under = (len(notes) + 1) * _LINE + MARGIN - SMALL
    if strands:
        axis = Axis.of(trend.per, [each for strand in strands for each in strand.stretches])
        alone = len(strands) == 1
        size = _ALONE if alone else _AMONG_OTHERS
        lines, bottom = _strands(strands, axis, y, size)
        if alone and bottom + under < HEIGHT:
            lines, bottom = _strands(strands, axis, y, size.stretched(HEIGHT - bottom - under))
        drawn += lines
        y = bottom
    y += 2 * _LINE - SMALL
    drawn += [words(LEFT, y + i * _LINE, note, size=SMALL, kind="faint") for i, note in enumerate(notes)]
    return picture(heading, _told(said, strands), y - 2 * _LINE + SMALL + under, "\n".join(drawn))


def _strands(strands: Sequence[Strand], axis: Axis, y: float, size: Size) -> tuple[list[str], float]:
    """Return what is drawn of all strands under ``y``, and where they end."""
    drawn: list[str] = []
    for place, strand in enumerate(strands):
        lines, y = _strand(strand, axis, y + _LINE, size, explained=place == 0)
        drawn += lines
    return drawn, y


def _notes(trend: Trend, drawn: int) -> Iterator[str]:
    if drawn:
        yield _NO_GRADE
    if trend.by and (left_out := len(trend.strands) - drawn):
        yield f"{left_out} more {trend.by.value}{'' if left_out == 1 else 's'}."
    if trend.by and trend.thin:
        yield f"{count(len(trend.thin), trend.by.value)} with fewer than {trend.takes_from} takes left out."
    yield from nameless_lines(trend)
    yield from dated_lines(trend)


def _said(trend: Trend) -> str:
    if trend.why_null:
        return f"{trend.why_null[0].upper()}{trend.why_null[1:]}."
    starts = [each.start for strand in trend.strands for each in strand.stretches]
    first, last = (_period(start, trend.per) for start in (min(starts), max(starts)))
    time = clock(sum(take.duration_s for strand in trend.strands for take in strand.takes))
    takes = sum(len(strand.takes) for strand in trend.strands)
    when = f"in {first}" if first == last else f"from {first} to {last}"
    return f"{count(takes, 'take')} of {time} in all, {when}, {trend.per.value} by {trend.per.value}"


def _period(start: date, per: Per) -> str:
    return f"the week of {day_words(start)}" if per is Per.WEEK else name_of(start, per)


def _told(said: str, strands: Sequence[Strand]) -> str:
    """Return the picture in words, for those who do not see it."""
    told = [said if said.endswith(".") else f"{said}."]
    for strand in strands:
        name = "" if strand.name is None else f"{strand.name}: "
        known = [each for each in strand.stretches if each.variety]
        if known:
            ends = [known[0], *known[1:][-1:]]
            values = ", ".join(f"{each.variety.mean:.0f} in {each.name}" for each in ends if each.variety)
            told.append(f"{name}variety {values}.")
        told += [f"{name}{line}" for line, _ in practice_lines(strand.practice)]
    return " ".join(told)


def _strand(strand: Strand, axis: Axis, y: float, size: Size, *, explained: bool) -> tuple[list[str], float]:
    """Return what is drawn of a strand from ``y`` on, and where it ends.

    What the signs mean is ``explained`` once in a picture.
    """
    stretches = strand.stretches
    y += _LINE
    if strand.name is None:
        drawn = [words(LEFT, y, _VARIETY, kind="strong")]
        x = LEFT + width_of(_VARIETY, strong=True) + 8
        drawn.append(words(x, y, _KEY, size=SMALL, kind="faint"))
    else:
        y += 4
        takes = f"{_VARIETY}; {count(len(strand.takes), 'take')}"
        room = RIGHT - LEFT - width_of(takes, SMALL) - 20
        name = cut(strand.name, room, PLAIN + 2, strong=True)
        drawn = [words(LEFT, y, name, size=PLAIN + 2, kind="strong")]
        drawn.append(words(RIGHT, y, takes, size=SMALL, kind="faint", end=True))
        for line in wrapped(_KEY, RIGHT - LEFT, SMALL) if explained else ():
            y += _LINE
            drawn.append(words(LEFT, y, line, size=SMALL, kind="faint"))
    frame = Frame(LEFT + _NUMBERS, RIGHT - _NUMBERS, y + 10, y + 10 + size.variety)
    drawn += [*grid(frame, numbers=True), *levels(axis, stretches, frame)]
    if not any(each.variety for each in stretches):
        drawn.append(words(frame.left + _INSIDE, frame.y(_BETWEEN) + SMALL / 3, _NO_SCORE, size=SMALL))
    if (last := stretches[-1].variety) is not None:
        drawn.append(words(frame.right + 5, frame.y(last.mean) + 3, f"{last.mean:.0f}", kind="strong"))
    y = frame.base + SMALL + 5
    drawn += names_under(axis, stretches, frame, y)
    y += SMALL + 5
    if explained:
        y += _LINE
        drawn.append(words(LEFT, y, "of 100 phrases, so many are", kind="strong"))
    lines, y = _labels(axis, stretches, y, size)
    drawn += lines
    lines, y = _practice(strand.practice, y + 6)
    return drawn + lines, y


def _labels(axis: Axis, stretches: Sequence[Stretch], y: float, size: Size) -> tuple[list[str], float]:
    """Return the panels of labels, four side by side, and where they end."""
    values = {
        title: [_percent(each.shares.get(label)) for each in stretches] for label, title in _TITLES.items()
    }
    values[_CONNECTED] = [each.connectedness for each in stretches]
    drawn: list[str] = []
    width = (RIGHT - LEFT - _NUMBERS * _ACROSS) / _ACROSS
    base = y
    for place, (title, told) in enumerate(values.items()):
        row, column = divmod(place, _ACROSS)
        left = LEFT + _NUMBERS + column * (width + _NUMBERS)
        top = y + size.between - 6 + row * (size.label + size.between)
        frame = Frame(left, left + width, top, top + size.label)
        base = frame.base
        shown = number(told[-1])
        drawn.append(words(left, top - 5, title, size=SMALL + 0.5, kind="strong"))
        drawn.append(words(frame.right, top - 5, shown, size=SMALL + 0.5, end=True))
        if all(value is None for value in told):
            y = frame.y(_BETWEEN) + SMALL / 3
            drawn.append(words(left + _INSIDE, y, "not measured", size=SMALL, kind="faint"))
        drawn += [*grid(frame, numbers=column == 0), *course(axis, stretches, told, frame)]
    return drawn, base


def _practice(practice: Practice, y: float) -> tuple[list[str], float]:
    """Return the suggestions in lines, and where they end."""
    y += _LINE + 2
    drawn = [words(LEFT, y, "To practise next", kind="strong")]
    for told, listen in practice_lines(practice):
        for line in wrapped(told, RIGHT - LEFT):
            y += _LINE
            drawn.append(words(LEFT, y, line))
        for line in wrapped(listen, RIGHT - LEFT - 10, SMALL) if listen else ():
            y += _SMALL_LINE
            drawn.append(words(LEFT + 10, y, line, size=SMALL, kind="faint"))
    return drawn, y


def _percent(share: float | None) -> float | None:
    return None if share is None else 100 * share
