"""How a take is laid out on its page: how long its rows are, and what stands where in each."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from batch.model import Analysis, LabelledPhrase
from batch.words import clock
from exporters.pictures.captions import NUMBER, Caption, Named, captions_of
from exporters.pictures.rows import Row, length_of, row_lengths, rows_of
from exporters.pictures.svg import LEFT, PLAIN, RIGHT, SMALL

BLOCK, LARGEST = 36.0, 64.0
"""Points of a block of full height, and where the page has room for more (our choice)."""
RULER = SMALL + 3.0
"""Points of a line of the ruler."""
CAPTION = PLAIN + 0.5
"""Points of a line of words under the blocks."""
_AFTER = 10.0
MOST_ROWS = 60
"""However long the take, so that its picture can still be looked through (our choice)."""
_WORDED, _FEW = 0.8, 0.5
"""Share of phrases that should have room for their words, and below which none has any: a few words here and
there would seem to say more than the numbers do (our choice)."""


@dataclass(frozen=True, slots=True)
class System:
    """A row on the page, as a line of music is called: where its blocks stand, and the words under them.

    The blocks stand between ``top`` and ``base``, the ruler over them; ``silence`` is what to say of one
    before it that is not drawn.
    """

    row: Row
    per_s: float
    top: float
    base: float
    captions: tuple[Caption, ...]
    silence: str | None = None

    def x(self, time_s: float) -> float:
        """Return where a time is."""
        return LEFT + (min(max(time_s, self.row.start_s), self.row.end_s) - self.row.start_s) * self.per_s

    @property
    def bottom(self) -> float:
        """Return where the next may begin."""
        lines = 1 + max((caption.line for caption in self.captions), default=-1)
        return self.base + lines * CAPTION + _AFTER

    def moved(self, top: float, block: float) -> "System":
        """Return it with blocks of another height, from ``top`` on."""
        return replace(self, top=top, base=top + block)


@dataclass(frozen=True, slots=True)
class Layout:
    """All systems of a take, and the share of its phrases that have their words."""

    systems: tuple[System, ...]
    worded: float

    @property
    def bottom(self) -> float:
        """Return where the last system ends."""
        return self.systems[-1].bottom

    def bare(self) -> "Layout":
        """Return it with numbers alone."""
        systems: list[System] = []
        less = 0.0
        for system in self.systems:
            numbers = tuple(caption for caption in system.captions if caption.kind == NUMBER)
            moved = replace(system, captions=numbers).moved(system.top - less, BLOCK)
            less += system.bottom - moved.bottom - less
            systems.append(moved)
        return Layout(tuple(systems), 0.0)

    def stretched(self, until: float) -> "Layout":
        """Return it with blocks as high as a page up to ``until`` has room for."""
        more = min((until - self.bottom) / len(self.systems), LARGEST - BLOCK)
        if more <= 0:
            return self
        moved = [each.moved(each.top + i * more, BLOCK + more) for i, each in enumerate(self.systems)]
        return replace(self, systems=tuple(moved))


def laid_out(analysis: Analysis, y: float, until: float, ruler_lines: int) -> Layout:
    """Return the systems of a take from ``y`` on.

    Rows are as short in time as a page up to ``until`` allows, so that blocks are large. Where phrases crowd
    there, they are shorter and the page grows, as long as there are not too many.
    """
    phrases, duration_s = analysis.phrases, analysis.take.duration_s
    choices = [
        _layout(phrases, rows, row_s, y, ruler_lines)
        for row_s in row_lengths(length_of(phrases, duration_s))
        if len(rows := rows_of(phrases, duration_s, row_s, MOST_ROWS + 1)) <= MOST_ROWS
    ]
    on_page = next((choice for choice in choices if choice.bottom <= until), choices[-1])
    if on_page.worded >= _WORDED:
        return on_page.stretched(until)
    longer = [choice for choice in choices if choice.worded >= _WORDED]
    best = longer[-1] if longer else max(choices, key=lambda choice: choice.worded)
    return best if best.worded >= _FEW else choices[0].bare()


def _layout(
    phrases: Sequence[LabelledPhrase], rows: Sequence[Row], row_s: float, y: float, ruler_lines: int
) -> Layout:
    systems: list[System] = []
    per_s, number, worded = (RIGHT - LEFT) / row_s, 0, 0
    until = 0.0
    for row in rows:
        named = []
        while number < len(phrases) and (phrases[number].start_s < row.end_s or row is rows[-1]):
            x = LEFT + max(phrases[number].start_s - row.start_s, 0.0) * per_s
            named.append(Named(x, number + 1, phrases[number]))
            number += 1
        captions, with_words = captions_of(named, RIGHT)
        worded += with_words
        silence = f"no phrases from {clock(until)} to {clock(row.start_s)}" if row.skips else None
        top = y + (ruler_lines + row.skips) * RULER
        systems.append(System(row, per_s, top, top + BLOCK, tuple(captions), silence))
        y, until = systems[-1].bottom, row.end_s
    return Layout(tuple(systems), worded / len(phrases))
