"""Where an exporter's positions count from: the take's start, or the session's zero."""

from batch.model import Analysis
from batch.settings import CountsFrom


def counts_from_session(analysis: Analysis, counts_from: CountsFrom) -> bool:
    """Return whether positions count from the session's zero; by ``auto`` where its own map is known."""
    if counts_from == "auto":
        return analysis.grid is not None and analysis.grid.spans_session
    return counts_from == "session"


def start_s(analysis: Analysis, counts_from: CountsFrom) -> float:
    """Return the position of the take's start: its place in the session, 0 where nothing says that."""
    if not counts_from_session(analysis, counts_from):
        return 0.0
    return analysis.placement.starts_at_s if analysis.placement else 0.0


def timecode_start_s(analysis: Analysis, counts_from: CountsFrom) -> float:
    """Return what the session's clock reads where the take starts; 0 where positions count from the take."""
    if not counts_from_session(analysis, counts_from):
        return 0.0
    zero_reads_s = analysis.placement.zero_reads_s if analysis.placement else 0.0
    return zero_reads_s + start_s(analysis, counts_from)
