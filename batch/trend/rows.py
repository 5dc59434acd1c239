"""Takes over time: what they hold by day, week or month, of all takes or by tune or player."""

import difflib
import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from enum import StrEnum
from functools import cached_property
from itertools import pairwise
from statistics import fmean

from scipy.special import stdtrit

from batch.errors import BatchError
from batch.names import fold, natural
from batch.outline import PhraseOutline
from batch.settings import TrendSettings
from batch.trend.dates import DatedBy
from batch.trend.periods import Per, name_of, start_of
from batch.trend.practice import Practice, what_to_practise
from batch.trend.tally import LABELS, Tally
from batch.variety import DIMENSIONS

INTERVAL = 0.8
"""How sure the range beside a period's variety is: as a take's own, by default."""
SHOWN = ("long", "dense", "against-groove", "staccato", "low", "high", "leaps")
"""The labels that are followed; in a dimension of two, the other is what is left."""
_DIMENSION_OF = {label: dimension for dimension, labels in LABELS.items() for label in labels}


class By(StrEnum):
    """What takes are told apart by."""

    TUNE = "tune"
    PLAYER = "player"


@dataclass(frozen=True)
class Sighting:
    """A take in time: when it was played and how that is known, what of and by whom, what it holds.

    ``title`` is what people know it by, ``file`` its recording's name.
    """

    title: str
    file: str
    at: datetime
    dated_by: DatedBy
    tune: str | None
    player: str | None
    duration_s: float
    phrases: tuple[PhraseOutline, ...]
    score: float | None = None
    low: float | None = None
    high: float | None = None
    parts: Mapping[str, float | None] = field(default_factory=dict)
    connectedness: float | None = None
    in_beats: bool = False
    content: str | None = None
    """What tells its recording's content from another's; None where that is not known."""

    @cached_property
    def tally(self) -> Tally:
        """Its phrases counted."""
        return Tally.of(self.phrases)


@dataclass(frozen=True, slots=True)
class Level:
    """The mean of some takes' variety, with how far it may lie off."""

    mean: float
    low: float | None
    high: float | None
    takes: int


@dataclass(frozen=True, slots=True)
class Stretch:
    """One period's takes. ``variety`` is None where none of them has a score."""

    start: date
    name: str
    takes: tuple[Sighting, ...]
    variety: Level | None
    parts: Mapping[str, float | None]
    connectedness: float | None
    shares: Mapping[str, float | None]

    @property
    def duration_s(self) -> float:
        """How long its takes are together."""
        return sum(take.duration_s for take in self.takes)

    @property
    def phrases(self) -> int:
        """How many phrases they hold."""
        return sum(len(take.phrases) for take in self.takes)


@dataclass(frozen=True, slots=True)
class Strand:
    """Takes that are followed together: all, or those of a tune or a player (``name``), in order of time."""

    name: str | None
    takes: tuple[Sighting, ...]
    stretches: tuple[Stretch, ...]
    practice: Practice


@dataclass(frozen=True, slots=True)
class Trend:
    """What became of the takes over time.

    ``thin`` names those tunes or players that have too few takes, ``nameless`` counts the takes of which
    neither is known, ``silent`` those without a phrase, which are not among the ``takes``. ``why_null``
    says why there is nothing to see.
    """

    per: Per
    by: By | None
    takes: int
    takes_from: int
    strands: tuple[Strand, ...] = ()
    thin: tuple[str, ...] = ()
    nameless: int = 0
    silent: int = 0
    dated: Mapping[DatedBy, int] = field(default_factory=dict)
    why_null: str | None = None


@dataclass(frozen=True, slots=True)
class LeftOut:
    """What is not counted, and what is not compared.

    ``undated`` takes have no date that can be, those ``gone`` no analysis, and of ``asked`` takes a pattern
    for names fits so many (``fits``). ``unlike`` are dimensions in which some folder's settings draw the
    lines between labels elsewhere.
    """

    undated: int = 0
    gone: int = 0
    failed: int = 0
    asked: int = 0
    fits: int = 0
    unlike: frozenset[str] = frozenset()


def trend_of(
    takes: Iterable[Sighting],
    per: Per,
    by: By | None = None,
    *,
    settings: TrendSettings,
    unlike: frozenset[str] = frozenset(),
    among: int | None = None,
) -> Trend:
    """Return how takes develop. Those without a phrase are no takes here.

    ``unlike`` are dimensions whose labels were drawn by other lines than those of the solos that they
    would be compared with. ``among`` is how many tunes or players there are, where ``takes`` are those of
    one alone: so that it is told the same as beside the others.
    """
    every = list(takes)
    ordered = sorted(
        (take for take in every if take.phrases), key=lambda take: (take.at, natural(take.file), take.file)
    )
    dated = Counter(take.dated_by for take in ordered)
    known = {source: dated[source] for source in DatedBy if dated[source]}
    enough = settings.takes_from
    whole = Trend(per, by, len(ordered), enough, silent=len(every) - len(ordered), dated=known)
    if len(ordered) < enough:
        return replace(whole, why_null=_too_few(len(ordered), enough))
    if by is None:
        gathered: dict[str | None, list[Sighting]] = {None: ordered}
        thin, nameless = [], 0
    else:
        named, nameless = _gathered(ordered, by)
        gathered = {name: each for name, each in named.items() if len(each) >= enough}
        thin = [name for name, each in named.items() if len(each) < enough]
        if not gathered:
            why = f"no {by.value} has {enough} takes, which a trend needs"
            return replace(whole, thin=tuple(sorted(thin)), nameless=nameless, why_null=why)
    strands = tuple(
        Strand(
            name,
            tuple(each),
            stretches_of(each, per),
            what_to_practise(
                _once(each), settings=settings, unlike=unlike, among=max(among or 0, len(gathered))
            ),
        )
        for name, each in sorted(gathered.items(), key=lambda item: (-len(item[1]), item[0] or ""))
    )
    return replace(whole, strands=strands, thin=tuple(sorted(thin)), nameless=nameless)


def followed(takes: Iterable[Sighting], by: By, settings: TrendSettings) -> int:
    """Return how many tunes or players have enough takes to be followed."""
    named, _ = _gathered([take for take in takes if take.phrases], by)
    return sum(len(each) >= settings.takes_from for each in named.values())


def only(takes: Sequence[Sighting], by: By, name: str) -> list[Sighting]:
    """Return the takes of one tune or player, however its letters are cased.

    Raises
    ------
    BatchError
        If there is none, with the nearest name.
    """
    known = {fold(given): given for take in takes if (given := _name_of(take, by)) is not None}
    if fold(name) not in known:
        close = difflib.get_close_matches(fold(name), known, n=1)
        hint = f"did you mean {known[close[0]]}?" if close else f"takemill trend --by {by.value} lists them"
        raise BatchError(f"--only {name}: is no {by.value} of the takes heard here; {hint}")
    return [take for take in takes if fold(_name_of(take, by) or "") == fold(name)]


def stretches_of(takes: Sequence[Sighting], per: Per) -> tuple[Stretch, ...]:
    """Return the periods that have takes (in order of time)."""
    spread = spread_of([take.score for take in takes if take.score is not None])
    scored = sum(take.score is not None for take in takes)
    periods: defaultdict[date, list[Sighting]] = defaultdict(list)
    for take in takes:
        periods[start_of(take.at.date(), per)].append(take)
    return tuple(_stretch(start, each, per, spread, scored) for start, each in periods.items())


def spread_of(scores: Sequence[float]) -> float | None:
    """Return how much takes differ from one to the next, as a standard deviation; None of fewer than two.

    By the mean square successive difference, so that a slow change over months is not taken for unevenness
    (von Neumann, J. and others (1941). "The mean square successive difference". Ann. Math. Stat. 12,
    153-162).
    """
    if len(scores) < 2:  # noqa: PLR2004  one has no next
        return None
    squares = [(b - a) ** 2 for a, b in pairwise(scores)]
    return math.sqrt(fmean(squares) / 2)


def level_of(
    scores: Sequence[float], spread: float | None, scored: int, reaches: Sequence[float] = ()
) -> Level | None:
    """Return the mean of a period's scores and its range: Student's, from the spread of all ``scored`` takes.

    The fewer takes, the wider. The differences of neighbours hold about two thirds of the degrees of
    freedom that the scores have (von Neumann and others, the same). It is never narrower than the takes' own
    ranges leave it, which reach so far to either side (``reaches``): they are part of the spread, unless
    takes are alike by accident.
    """
    if not scores:
        return None
    mean = fmean(scores)
    if spread is None:
        return Level(mean, None, None, len(scores))
    freedom = max(2 / 3 * (scored - 1), 1.0)
    between = float(stdtrit(freedom, (1 + INTERVAL) / 2)) * spread / math.sqrt(len(scores))
    reach = max(between, math.hypot(*reaches) / len(scores))
    return Level(mean, max(mean - reach, 0.0), min(mean + reach, 100.0), len(scores))


def _stretch(start: date, takes: Sequence[Sighting], per: Per, spread: float | None, scored: int) -> Stretch:
    tally = Tally.sum(take.tally for take in takes)
    return Stretch(
        start,
        name_of(start, per),
        tuple(takes),
        level_of(
            [take.score for take in takes if take.score is not None],
            spread,
            scored,
            [(take.high - take.low) / 2 for take in takes if take.low is not None and take.high is not None],
        ),
        {name: _mean(take.parts.get(name) for take in takes) for name in DIMENSIONS},
        _mean(take.connectedness for take in takes),
        {label: tally.share(_DIMENSION_OF[label], label) for label in SHOWN},
    )


def _gathered(takes: Sequence[Sighting], by: By) -> tuple[dict[str, list[Sighting]], int]:
    """Return the takes of each name, however its letters are cased, and how many have none."""
    gathered: dict[str, list[Sighting]] = {}
    shown: dict[str, str] = {}
    nameless = 0
    for take in takes:
        name = _name_of(take, by)
        if name is None:
            nameless += 1
        else:
            gathered.setdefault(shown.setdefault(fold(name), name), []).append(take)
    return gathered, nameless


def _once(takes: Sequence[Sighting]) -> list[Sighting]:
    """Return the takes without copies of an earlier one."""
    seen: set[str] = set()
    kept = []
    for take in takes:
        if take.content is None or take.content not in seen:
            kept.append(take)
        seen.add(take.content or "")
    return kept


def _name_of(take: Sighting, by: By) -> str | None:
    return take.tune if by is By.TUNE else take.player


def _mean(values: Iterable[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return fmean(known) if known else None


def _too_few(takes: int, enough: int) -> str:
    if not takes:
        return f"no takes yet; a trend needs {enough} or more"
    counted = "1 take is" if takes == 1 else f"{takes} takes are"
    return f"{counted} too few for a trend; {enough} or more are needed"
