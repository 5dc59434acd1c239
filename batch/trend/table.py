"""A trend on the terminal: a table with a row a period, what to practise next, and what to know."""

from collections.abc import Iterator, Sequence

from rich.text import Text

from batch import scale
from batch.columns import Column, console, draws, print_table
from batch.inert import inert
from batch.tables import PART_HEADS
from batch.trend.advice import practice_lines
from batch.trend.history import History
from batch.trend.notes import dated_lines, nameless_lines
from batch.trend.periods import Per, day_words
from batch.trend.rows import SHOWN, Strand, Stretch, Trend
from batch.words import clock, count, number

MOST_ROWS, FEWEST_ROWS = 100, 8
"""Rows of all tables, and of each, the latest: few read more, and files hold all (our choice)."""
_SHARE_HEADS = {"against-groove": "against", "leaps": "leaping"}
_MOST_NAMED = 8
"""Names in a note (our choice)."""


def print_trend(trend: Trend, history: History) -> None:
    """Print what became of the takes over time, and what to practise next."""
    out = console()
    if trend.why_null:
        out.print(Text(f"{trend.why_null}."))
    for place, strand in enumerate(trend.strands):
        if place:
            out.print()
        if strand.name is not None:
            out.print(Text(inert(strand.name), style="bold"))
        shown, earlier = rows_of(strand, len(trend.strands))
        print_table(trend_columns(shown, trend.per))
        if earlier:
            out.print(Text(f"{count(earlier, trend.per.value)} before; --format json has all", style="dim"))
        out.print(Text("to practise next:", style="bold"))
        for told, listen in practice_lines(strand.practice):
            out.print(Text(f"  {told}"))
            if listen:
                out.print(Text(f"    {listen}", style="dim"))
    for note in notes_of(trend, history):
        out.print(Text(note, style="dim"))


def trend_columns(stretches: Sequence[Stretch], per: Per) -> list[Column]:
    """Return a row a period; what gives way soonest is what says least."""
    parts = [
        Column(head, [number(each.parts.get(name)) for each in stretches], gives_way=7 - place)
        for place, (name, head) in enumerate(PART_HEADS.items())
    ]
    shares = [
        Column(
            _SHARE_HEADS.get(label, label),
            [_percent(each.shares.get(label)) for each in stretches],
            gives_way=30 - place,
        )
        for place, label in enumerate(SHOWN)
    ]
    return [
        Column(per.value, [each.name for each in stretches], left=True),
        *_from_columns(stretches, per),
        Column("takes", [str(len(each.takes)) for each in stretches], gives_way=40),
        Column("time", [clock(each.duration_s) for each in stretches], gives_way=11),
        Column("phrases", [str(each.phrases) for each in stretches], gives_way=12),
        Column("variety", [number(each.variety.mean if each.variety else None) for each in stretches]),
        Column("range", [_range(each) for each in stretches], gives_way=41),
        *_scale_columns(stretches),
        *shares,
        *_connected_columns(stretches),
        *parts,
    ]


def rows_of(strand: Strand, strands: int = 1) -> tuple[Sequence[Stretch], int]:
    """Return the periods that one of so many tables shows, the latest, and how many come before."""
    shown = strand.stretches[-max(MOST_ROWS // strands, FEWEST_ROWS) :]
    return shown, len(strand.stretches) - len(shown)


def notes_of(trend: Trend, history: History) -> Iterator[str]:
    """Yield what to know of the takes that were counted and of those that were not."""
    if any(each.variety and each.variety.low is not None for s in trend.strands for each in s.stretches):
        yield (
            "variety: the mean of the takes' scores; range: how far it may lie off, wide where takes are few."
        )
    yield from dated_lines(trend)
    if trend.thin:
        names = [inert(name) for name in trend.thin[:_MOST_NAMED]]
        more = f" and {len(trend.thin) - len(names)} more" if len(trend.thin) > len(names) else ""
        yield f"With fewer than {trend.takes_from} takes: {', '.join(names)}{more}."
    yield from nameless_lines(trend)
    left_out = history.left_out
    if left_out.fits < left_out.asked:
        yield f"[trend] names fits {left_out.fits} of {count(left_out.asked, 'take')}."
    if left_out.unlike:
        unlike = ", ".join(sorted(name.replace("_", " ") for name in left_out.unlike))
        yield f"The settings draw their own lines for {unlike}: no suggestions about that."
    if trend.silent:
        yield f"{count(trend.silent, 'take')} without a phrase left out."
    if left_out.undated:
        yield f"{count(left_out.undated, 'take')} left out: no possible date."
    if left_out.gone:
        yield f"{count(left_out.gone, 'take')} whose analysis is gone left out; takemill run makes it anew."
    if left_out.failed:
        yield f"{count(left_out.failed, 'take')} failed; takemill status says why."


def _connected_columns(stretches: Sequence[Stretch]) -> list[Column]:
    values = [each.connectedness for each in stretches]
    known = any(value is not None for value in values)
    return [Column("connected", [number(value) for value in values], gives_way=10)] if known else []


def _from_columns(stretches: Sequence[Stretch], per: Per) -> list[Column]:
    """Return the day that a week begins on, which few people know of a number."""
    if per is not Per.WEEK:
        return []
    return [Column("from", [day_words(each.start) for each in stretches], gives_way=13)]


def _scale_columns(stretches: Sequence[Stretch]) -> list[Column]:
    marks = scale.DRAWN if draws() else scale.PLAIN
    levels = [each.variety for each in stretches]
    lines = [scale.scale(level.mean, level.low, level.high, marks) if level else "" for level in levels]
    return [Column(scale.HEAD, lines, left=True, gives_way=0)] if any(lines) else []


def _range(stretch: Stretch) -> str:
    level = stretch.variety
    if level is None or level.low is None or level.high is None:
        return ""
    return f"{level.low:.0f}-{level.high:.0f}"


def _percent(value: float | None) -> str:
    return "-" if value is None else f"{100 * value:.0f}%"
