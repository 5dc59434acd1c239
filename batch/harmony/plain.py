"""A chord chart from plain text."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from batch.harmony.chart import HOLDS, Chart, ChartError, Writer
from batch.harmony.symbols import read_chord

MOST_LINES = 20_000
LONGEST_LINE = 1_000
"""Of a chart in plain text (our choice): longer ones take long to read, and nobody reads them."""

_COMMENT = re.compile(r"^\s*#.*|\s#(?!\d).*")
"""Not the sharp in ``C7(b9 #11)``."""
_HEAD = re.compile(r"^\s*(?:\[[^\]]*\]|[^|\[\]:]{1,40}:(?!\|))")
_TOKEN = re.compile(
    r"(?P<end>:\|+:?)(?:\s*[x×]?\s*(?P<times>\d{1,3})(?:\s*[x×])?(?=\s|$|\|))?"
    r"|(?P<start>\|+:)|(?P<line>\|+\]?)|\[[^\]]*\]|(?P<symbol>(?:[^\s|:()\[]|\([^)|]*\))+)|(?P<other>\S)"
)
_REPEAT = re.compile(r"\s*(?:form\s+)?repeats?(?:\s+until\s+the\s+take\s+ends)?\s*\.?\s*", re.IGNORECASE)
_TIMES = re.compile(r"\s*[x×]\s*(\d{1,3})\s*", re.IGNORECASE)


def parse_chart(text: str, name: str) -> Chart:
    """Read a chart in plain text.

    Bars are parted by ``|``; the symbols in a bar share it evenly, ``/`` and ``.`` being one more share of
    the chord before, ``%`` alone the bar before, ``N.C.`` no chord, an empty bar more of the chord before.
    ``||: ... :||`` is played twice, ``:|| x3`` three times. A line ``repeat`` says that the whole starts
    again until the take ends, ``x3`` that it is played three times. What follows ``#`` at the start of a
    line, or after a space, is a comment; lines without a bar line are headings.

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
        yield (
            f"line {reader.left_out[0]} of its chord chart {name} has chords but no bar line, and was left"
            " out: part its bars by |"
        )


def _looks_like_chords(line: str) -> bool:
    """Return whether a line without bar lines was meant for chords: more than the letter of a section."""
    words = line.split()
    return any(len(word) > 1 for word in words) and all(
        word in HOLDS or read_chord(word) is not None for word in words
    )


@dataclass(slots=True)
class _Reader:
    writer: Writer = field(default_factory=Writer)
    left_out: list[int] = field(default_factory=list)
    _from: int = 0
    """The bar that a repeat sign goes back to."""

    def line(self, line: str) -> None:
        """Read a line of bars; a bar ends with its line."""
        symbols: list[str] = []
        is_open = False  # a bar line stands before, so that an empty bar is one
        for token in _TOKEN.finditer(line):
            kind = token.lastgroup
            if kind in ("symbol", "other"):
                symbols.append(token.group())
                continue
            if kind is None:
                continue  # a mark in square brackets
            is_single = token.group() == "|"
            if symbols or (is_open and is_single):
                self._bar(symbols)
                symbols = []
            is_open = is_single
            if kind in ("end", "times"):
                self._again(int(token["times"] or 2))
            if kind == "start" or token.group().endswith(":"):
                self._from = len(self.writer.bars)
        if symbols:
            self._bar(symbols)

    def _bar(self, symbols: list[str]) -> None:
        if symbols == ["%"]:
            self.writer.again()
        elif symbols:
            self.writer.bar(symbols)
        else:
            self.writer.place(())
        self.writer.check()

    def _again(self, times: int) -> None:
        played = self.writer.bars[self._from :]
        self.writer.check(len(played) * max(0, times - 1))
        self.writer.bars += played * max(0, times - 1)
        self._from = len(self.writer.bars)
