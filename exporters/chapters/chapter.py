"""A chapter, and how a take is divided into chapters."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from batch.model import Labels
from batch.settings import FEWEST_CHAPTERS, MARKED, MOST_CHAPTERS, ChaptersBy, LabelName


@dataclass(frozen=True, slots=True)
class Division:
    """By phrase, by section, or by phrase while there are at most ``most``, else by section.

    ``labels`` and ``devices`` are what chapters are named by, as markers are.
    """

    by: ChaptersBy = "auto"
    most: int = 24
    labels: Sequence[LabelName] = MARKED
    devices: bool = False

    def __post_init__(self) -> None:
        """Refuse what makes no chapters; ValueError."""
        if not FEWEST_CHAPTERS <= self.most <= MOST_CHAPTERS:
            allowed = f"between {FEWEST_CHAPTERS} and {MOST_CHAPTERS}"
            raise ValueError(f"most must lie {allowed} chapters, got {self.most}")


@dataclass(frozen=True, slots=True)
class Chapter:
    """From its first phrase's start to the next chapter's, the last to the take's end; in seconds."""

    start_s: float
    end_s: float
    title: str

    @property
    def start_ms(self) -> int:
        """Return the start as files have it: to the millisecond."""
        return milliseconds(self.start_s)

    @property
    def end_ms(self) -> int:
        """Return the end as files have it; a chapter lasts a millisecond at least."""
        return max(milliseconds(self.end_s), self.start_ms + 1)


class Phrased(Protocol):
    """A phrase as an analysis has it, or an outline."""

    @property
    def start_s(self) -> float: ...
    @property
    def end_s(self) -> float: ...
    @property
    def labels(self) -> Labels: ...


def milliseconds(time_s: float) -> int:
    """Return a time rounded to milliseconds, half a one off at most."""
    return round(time_s * 1000)


def clock(milliseconds: int) -> str:
    """Return a time as ``hh:mm:ss.mmm``."""
    seconds, rest = divmod(milliseconds, 1000)
    return f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}.{rest:03}"
