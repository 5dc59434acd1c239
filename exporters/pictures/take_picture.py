"""The picture of a take: its phrases in time on one page, to be read on paper."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from batch.bars import BarCounter
from batch.height import height_share
from batch.model import Analysis, Groove, LabelledPhrase
from batch.outline import density_of
from batch.words import clock, grid_words, minute, never_words, variety_words
from exporters.pictures.arc import arc
from exporters.pictures.legend import LINE, legend
from exporters.pictures.ruler import Bars, bar_lines, bar_numbers, times
from exporters.pictures.shapes import block, kind_of, summary
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
    path,
    picture,
    quoted,
    short,
    words,
    wrapped,
)
from exporters.pictures.systems import CAPTION, RULER, Layout, System, laid_out

MOST_WARNING_LINES = 8
"""Warnings beyond are counted: the picture is of the phrases (our choice)."""
SEEN, APART = 1.0, 0.5
"""Points that the shortest phrase is wide, and that are left between phrases without a rest (our choice)."""
_TICKS = 5.0
"""Points between the ruler and the highest block."""
_HEAD_LINE, _LEADING, _AFTER_HEAD = HEAD + 3, PLAIN + 4, 12.0


@dataclass(frozen=True, slots=True)
class TakePicture:
    """``NAME.phrases.svg``: length, density and groove of each phrase in time, on one page."""

    suffix: str = ".phrases.svg"

    def render(self, analysis: Analysis) -> bytes:
        """Return SVG in UTF-8."""
        return as_file(picture_of(analysis))


def picture_of(analysis: Analysis) -> str:
    """Return the picture as an ``svg`` element, to be set into a page that is printed."""
    head, y = _head(analysis)
    drawn, bottom = list(head), HEIGHT - MARGIN - 2 * LINE
    if analysis.phrases:
        bars = Bars.of(BarCounter.of(grid)) if (grid := analysis.measured_on) else None
        layout = laid_out(analysis, y, bottom - 2 * LINE, 2 if bars else 1)
        drawn += _systems(analysis, layout, bars)
        drawn += _rest(analysis.take.duration_s, layout)
        bottom = max(bottom, layout.bottom + 2 * LINE)
        unmeasured = any(phrase.labels.groove is Groove.UNMEASURED for phrase in analysis.phrases)
        beats, arcs = grid is not None, analysis.tension is not None
        drawn += legend(bottom, beats=beats, seconds=not beats, unmeasured=unmeasured, tension=arcs)
    name = analysis.take.title or analysis.take.file
    return picture(name, _description(analysis), bottom + 2 * LINE + MARGIN, "\n".join(drawn))


def _description(analysis: Analysis) -> str:
    counted = summary(phrase.labels for phrase in analysis.phrases)
    return f"{counted}. {variety_words(analysis)}. {clock(analysis.take.duration_s)}, {grid_words(analysis)}."


def _head(analysis: Analysis) -> tuple[list[str], float]:
    """Return title, facts and warnings, and where they end."""
    take, room = analysis.take, RIGHT - LEFT
    y = MARGIN + HEAD
    title = cut(take.title or take.file, room, HEAD, strong=True)
    facts = [take.file, clock(take.duration_s), grid_words(analysis), take.recorded_at]
    if take.title is None:
        del facts[0]
    drawn = [words(LEFT, y, title, size=HEAD, kind="strong")]
    y += _HEAD_LINE - _LEADING
    variety = "; ".join(filter(None, (variety_words(analysis), never_words(analysis.variety))))
    lines = [", ".join(fact for fact in facts if fact), variety]
    for line in (each for text in lines for each in wrapped(text, room)):
        y += _LEADING
        drawn.append(words(LEFT, y, line))
    for line in _warnings(analysis, room):
        y += _LEADING
        drawn.append(words(LEFT, y, line, kind="faint"))
    return drawn, y + _AFTER_HEAD


def _warnings(analysis: Analysis, room: float) -> list[str]:
    said = list(analysis.warnings)
    if not analysis.phrases:
        said = ["No phrases.", *said]
    lines = [line for warning in said for line in wrapped(warning, room)]
    more = len(lines) - MOST_WARNING_LINES
    return lines if more <= 0 else [*lines[:MOST_WARNING_LINES], "More warnings stand in the analysis."]


def _systems(analysis: Analysis, layout: Layout, bars: Bars | None) -> Iterator[str]:
    for system in layout.systems:
        yield from _under(system, bars)
    yield from _blocks(analysis, layout.systems)
    for system in layout.systems:
        if analysis.tension:
            yield from arc(analysis.tension, system)
        for caption in system.captions:
            y = system.base + (caption.line + 1) * CAPTION
            yield words(caption.x, y, caption.text, size=caption.size, kind=caption.kind)


def _rest(duration_s: float, layout: Layout) -> Iterator[str]:
    """Yield what is said of a silence at the end that is not drawn."""
    until_s = layout.systems[-1].row.end_s
    if clock(until_s) != clock(max(duration_s, until_s)):
        silence = f"no phrases from {clock(until_s)} to {clock(duration_s)}"
        yield words(LEFT, layout.bottom + SMALL, silence, size=SMALL, kind="faint")


def _under(system: System, bars: Bars | None) -> Iterator[str]:
    """Yield what lies under the blocks of a system: its ruler and its base line."""
    row, right = system.row, system.x(system.row.end_s)
    if system.silence:
        y = system.top - _TICKS - (2 if bars else 1) * RULER
        yield words(LEFT, y, system.silence, size=SMALL, kind="faint")
    if bars:
        yield from bar_lines(bars, row, system.x, system.top, system.base)
        yield from bar_numbers(bars, row, system.x, system.top - RULER - _TICKS, RIGHT)
    yield from times(row, system.x, system.per_s, system.top - _TICKS, RIGHT)
    yield path("base", f"M{short(LEFT)} {short(system.base)}H{short(right)}")


def _blocks(analysis: Analysis, systems: Sequence[System]) -> Iterator[str]:
    """Yield a shape for each phrase; one that goes on in the next system is a shape in two pieces."""
    in_beats, first = analysis.measured_on is not None, 0
    for number, phrase in enumerate(analysis.phrases, start=1):
        while first < len(systems) - 1 and systems[first].row.end_s <= phrase.start_s:
            first += 1
        share, last = height_share(density_of(phrase), in_beats=in_beats), first + 1
        while last < len(systems) and systems[last].row.start_s < phrase.end_s:
            last += 1
        data = "".join(_piece(system, phrase, share) for system in systems[first:last])
        said = f"{number}: {minute(phrase.start_s)} to {minute(phrase.end_s)}, {phrase.labels}"
        yield f'<path class="{kind_of(phrase.labels)}" d="{data}"><title>{quoted(said)}</title></path>'


def _piece(system: System, phrase: LabelledPhrase, share: float) -> str:
    full = system.base - system.top
    x0 = min(system.x(phrase.start_s), RIGHT - SEEN)
    x1 = max(system.x(phrase.end_s) - APART, x0 + SEEN)
    leans = phrase.labels.groove is Groove.AGAINST_GROOVE
    return block(x0, x1, system.base, share * full, full if leans else None)
