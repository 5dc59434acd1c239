"""What to know of a trend's takes, in lines for the terminal and for the picture."""

from collections.abc import Iterator

from batch.trend.dates import DatedBy
from batch.trend.rows import Trend
from batch.words import count

_SOURCES = {
    DatedBy.RECORDING: ("the recording itself", "the recordings themselves"),
    DatedBy.NAME: ("its file's or folder's name", "their file's or folder's name"),
    DatedBy.FILE: ("when its file was last changed", "when their files were last changed"),
}
"""Of one take, and of several."""


def dated_lines(trend: Trend) -> Iterator[str]:
    """Yield where the dates are from, unless every recording says its own."""
    if set(trend.dated) - {DatedBy.RECORDING}:
        told = [f"{takes} by {_SOURCES[source][takes > 1]}" for source, takes in trend.dated.items()]
        yield f"Takes are dated: {', '.join(told)}."


def nameless_lines(trend: Trend) -> Iterator[str]:
    """Yield how many takes no tune or player is known of."""
    if trend.nameless and trend.by:
        yield f"{count(trend.nameless, 'take')} without a {trend.by.value}: tags and names tell none."
