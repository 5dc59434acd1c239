"""A chord chart from plain text."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from batch.charts import about_chart
from batch.harmony.chart import HOLDS, SIMILES, Bar, Chart, ChartError, Writer
from batch.harmony.symbols import read_chord

MOST_LINES = 20_000
LONGEST_LINE = 1_000
"""Of a chart in plain text (our choice): longer ones take long to read, and nobody reads them."""

_COMMENT = re.compile(r"^\s*#.*|\s#(?!\d).*")
"""Not the sharp in ``C7(b9 #11)``."""
_HEAD = re.compile(r"^\s*(?:\[[^\]]*\]|[^|\[\]:]{1,40}:(?!\|)|\d+[.)]?\s*(?=\|))")
"""A section's name, or the number of a line."""
_ENDING = re.compile(r"\d(?:[.,\-–]+\d)*[.,]?")
"""The numbers over an ending: ``1.``, ``2``, ``1.-3.``, ``1,2``."""
_TOKEN = re.compile(
    r"(?P<end>:\|+:?)(?:\s*[x×]?\s*(?P<times>\d{1,3})(?:\s*[x×])?(?=\s|$|\|))?"
    r"|(?P<start>\|+:)|(?P<line>\|+\]?)|\[[^\]]*\]|(?P<symbol>(?:[^\s|:()\[]|\((?:[^()|]|\([^()|]*\))*\))+)|(?P<other>\S)"
)
_REPEAT = re.compile(r"\s*(?:form\s+)?repeats?(?:\s+until\s+the\s+take\s+ends)?\s*\.?\s*", re.IGNORECASE)
_TIMES = re.compile(r"\s*[x×]\s*(\d{1,3})\s*", re.IGNORECASE)


def parse_chart(text: str, name: str) -> Chart:
    """Read a chart in plain text.

    Bars are parted by ``|``; the symbols in a bar share it evenly, ``/`` and ``.`` being one more share of
    the chord before, ``%`` alone the bar before, ``N.C.`` no chord, an empty bar more of the chord before.
    A chord in brackets, as on the way back to the top, counts like any other. ``||: ... :||`` is played
    twice, ``:|| x3`` three times; ``|1. ... :||2. ... |`` are its endings. A line ``repeat`` says that the
    whole starts again until the take ends, ``x3`` that it is played three times. What follows ``#`` at the
    start of a line, or after a space, is a comment; lines without a bar line are headings.

    Raises
    ------
    ChartError
        If there are no bars in it, or too many.
    """
    reader = _Reader()
    repeats, times = False, 1
    for number, line in enumerate(_lines_of(text), start=1):
        said = _COMMENT.sub("", line)
        if "|" in said:
            reader.line(_HEAD.sub("", said))
        elif _REPEAT.fullmatch(said):
            repeats = True
        elif matched := _TIMES.fullmatch(said):
            times = max(1, int(matched[1]))
        elif _looks_like_chords(said):
            reader.left_out.append(number)
    reader.finish()
    writer = reader.writer
    if not writer.bars:
        raise ChartError("has no bars", "write its chords between bar lines: | F7 | Bb7 |")
    writer.check(len(writer.bars) * (times - 1))
    return Chart(
        name, tuple(writer.bars) * times, repeats, (*writer.remarks(name), *_lines_left(reader, name))
    )


def _lines_of(text: str) -> list[str]:
    lines = text.splitlines()
    if len(lines) > MOST_LINES or any(len(line) > LONGEST_LINE for line in lines):
        problem = f"has more than {MOST_LINES:,} lines, or one of more than {LONGEST_LINE:,} characters"
        raise ChartError(problem, "keep the chords of one tune only in it")
    return lines


def _lines_left(reader: "_Reader", name: str) -> Iterator[str]:
    if reader.left_out:
        said = f"has chords but no bar line in line {reader.left_out[0]}, which was left out"
        yield about_chart(name, f"{said}: part its bars by |")


def _looks_like_chords(line: str) -> bool:
    """Return whether a line without bar lines was meant for chords: more than the letter of a section."""
    words = line.split()
    return any(len(word) > 1 for word in words) and all(
        word in HOLDS or read_chord(word) is not None for word in words
    )


def _plays(ending: str) -> int:
    """Return how many times through a repeat an ending is for, by the numbers over it."""
    numbers = [int(digit) for digit in re.findall(r"\d", ending)]
    is_range = re.search(r"[-–]", ending) is not None
    return max(1, numbers[-1] - numbers[0] + 1) if is_range else len(numbers)


def _in_brackets(symbol: str) -> list[str]:
    """Return what a symbol wholly in brackets holds, else the symbol."""
    return symbol[1:-1].split() if symbol.startswith("(") and symbol.endswith(")") else [symbol]


@dataclass(slots=True)
class _Endings:
    """A repeat whose endings are being read: the bars before them, and where the present one begins."""

    body: list[Bar]
    start: int
    plays: int
    is_first: bool = True
    is_closed: bool = False
    """A repeat sign has come, and with it, perhaps, the next ending."""


@dataclass(slots=True)
class _Reader:
    writer: Writer = field(default_factory=Writer)
    left_out: list[int] = field(default_factory=list)
    _from: int = 0
    """The bar that a repeat sign goes back to."""
    _endings: _Endings | None = None

    def line(self, line: str) -> None:
        """Read a line of bars; a bar ends with its line."""
        symbols: list[str] = []
        after_line = False  # a bar line stands before, so that a number is that of an ending
        is_open = False  # a single one, so that an empty bar is one
        for token in _TOKEN.finditer(line):
            kind = token.lastgroup
            if kind is None:
                continue  # a mark in square brackets
            if kind in ("symbol", "other"):
                if after_line and not symbols and _ENDING.fullmatch(token.group()):
                    self._ending(_plays(token.group()))
                else:
                    symbols += _in_brackets(token.group())
                continue
            is_single = token.group() == "|"
            if symbols or (is_open and is_single):
                self._bar(symbols)
                symbols = []
            after_line, is_open = True, is_single
            self._sign(token)
        if symbols:
            self._bar(symbols)

    def finish(self) -> None:
        """Play what a repeat still asks for as the chart ends."""
        self._leave_endings()

    def _sign(self, token: re.Match[str]) -> None:
        """Heed a bar line."""
        text, kind = token.group(), token.lastgroup
        if kind in ("end", "times"):
            if self._endings is None:
                self._again(int(token["times"] or 2))
            else:
                self._endings.is_closed = True
                if kind == "times" and "x" not in text.lower() and "×" not in text:
                    self._ending(1)
        elif text.startswith("||") and self._endings and not self._endings.is_first:
            self._leave_endings()
        if kind == "start" or text.endswith(":"):
            self._leave_endings()
            self._from = len(self.writer.bars)

    def _bar(self, symbols: list[str]) -> None:
        if self._endings and self._endings.is_closed:
            self._leave_endings()
        if len(symbols) == 1 and symbols[0] in SIMILES:
            self.writer.again()
        elif symbols:
            self.writer.bar(symbols)
        else:
            self.writer.place(())
        self.writer.check()

    def _again(self, times: int) -> None:
        self._append(self.writer.bars[self._from :] * max(0, times - 1))
        self._from = len(self.writer.bars)

    def _append(self, bars: list[Bar]) -> None:
        self.writer.check(len(bars))
        self.writer.bars += bars

    def _ending(self, plays: int) -> None:
        """Begin an ending: the first of a repeat, or one before which all is played once more."""
        before = self._endings
        body = before.body if before else self.writer.bars[self._from :]
        if before:
            self._play_again(before)
            self._append(body)
        self._endings = _Endings(body, len(self.writer.bars), plays, is_first=before is None)

    def _play_again(self, ending: _Endings) -> None:
        """Play an ending as often as its numbers say; once it was as it was read."""
        self._append((ending.body + self.writer.bars[ending.start :]) * (ending.plays - 1))

    def _leave_endings(self) -> None:
        """Go on after endings; after a first one alone what comes before it is played again without it."""
        if self._endings is None:
            return
        self._play_again(self._endings)
        if self._endings.is_first and self._endings.is_closed:
            self._append(self._endings.body)
        self._endings = None
        self._from = len(self.writer.bars)
