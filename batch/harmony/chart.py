"""A chord chart: bars of chords, and how they are written down one after another."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from batch.charts import about_chart
from batch.harmony.symbols import LONGEST, Chord, read_chord

MOST_BARS = 20_000
"""Of a chart with its repeats written out: three hours at two bars a second (our choice)."""
MOST_CHORDS = 64
"""In a bar: more than any note value in use divides it into (our choice)."""
MOST_NAMED = 8
"""Symbols that are not known, told by name (our choice)."""


class ChartError(ValueError):
    """A text is no chart: what it is, has or does, as what follows "it", and what to do."""

    def __init__(self, problem: str, remedy: str) -> None:
        self.problem, self.remedy = problem, remedy
        super().__init__(f"{problem}; {remedy}")


@dataclass(frozen=True, slots=True)
class Change:
    """From ``at``, a share of the bar, a chord; None where there is none, or one that is not known."""

    at: float
    chord: Chord | None


Bar = tuple[Change, ...]


@dataclass(frozen=True, slots=True)
class Chart:
    """The bars of a chart in the order in which they are played; ``repeats`` says that they start again.

    ``meter`` is that which it states, where that is one for all of it; ``remarks`` say what in it could not
    be read.
    """

    name: str
    bars: tuple[Bar, ...]
    repeats: bool = False
    remarks: tuple[str, ...] = ()
    meter: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class NoChart:
    """A file that should be a chart and is none, or cannot be read: what is wrong with it, and what to do."""

    name: str
    problem: str
    remedy: str


@dataclass(slots=True)
class Writer:
    """Writes down bars one after another, and which symbols in them are not known."""

    bars: list[Bar] = field(default_factory=list)
    _sounding: Chord | None = None
    _unknown: dict[str, int] = field(default_factory=dict)

    def bar(self, symbols: Sequence[str]) -> None:
        """Write a bar whose symbols share it evenly."""
        if len(symbols) > MOST_CHORDS:
            problem = f"has more than {MOST_CHORDS} chords in bar {len(self.bars) + 1}"
            raise ChartError(problem, "see that bars are parted by |")
        self.place([(place / len(symbols), symbol) for place, symbol in enumerate(symbols)])

    def place(self, placed: Sequence[tuple[float, str]]) -> None:
        """Write a bar of symbols, each at its share of it; what sounds before the first goes on."""
        changes = [] if placed and placed[0][0] == 0 else [Change(0.0, self._sounding)]
        for at, symbol in placed:
            self._sounding = self._chord(symbol)
            changes.append(Change(at, self._sounding))
        self.bars.append(tuple(changes))
        self.check()

    def again(self) -> None:
        """Write the last bar once more."""
        if not self.bars:
            raise ChartError("repeats the bar before where there is none", "write a chord for its first %")
        self.bars.append(self.bars[-1])

    def check(self, more: int = 0) -> None:
        """Raise ChartError if there are too many bars, or would be with so many ``more``."""
        if len(self.bars) + more > MOST_BARS:
            raise ChartError(f"has more than {MOST_BARS:,} bars", "write one chorus, and repeat below it")

    def remarks(self, name: str) -> tuple[str, ...]:
        """Return a line that names the symbols which are not known, each with the first bar it is in."""
        if not self._unknown:
            return ()
        named = [f"{symbol} in bar {bar}" for symbol, bar in self._unknown.items()]
        more = f" and {len(named) - MOST_NAMED} more" if len(named) > MOST_NAMED else ""
        said = f"has symbols that are not known: {', '.join(named[:MOST_NAMED])}{more};"
        return (about_chart(name, f"{said} there no chord is taken to sound"),)

    def _chord(self, symbol: str) -> Chord | None:
        if symbol in HOLDS:
            return self._sounding
        if symbol.upper().replace(".", "") in _NO_CHORD:
            return None
        chord = read_chord(symbol)
        if chord is None:
            self._unknown.setdefault(symbol[:LONGEST], len(self.bars) + 1)
        return chord


SIMILES = frozenset({"%", "/.", "./.", "·/.", "•/.", "𝄎"})
"""Alone in its bar: the bar before once more."""
HOLDS = frozenset({"/", "."}) | SIMILES
"""A beat, or another even share of its bar, of the chord before."""
_NO_CHORD = frozenset({"NC", "N/C"})
