"""A chapter, and what decides how many a take has."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

from batch.model import Labels
from batch.settings import MARKED, LabelName

ChaptersBy = Literal["auto", "phrase", "section"]

FEWEST, MOST = 2, 255
"""Between which ``most`` lies: one section is the take itself, and a table of contents in ID3 holds 255."""


@dataclass(frozen=True, slots=True)
class ChapterSettings:
    """By phrases, by sections, or by phrases while they are at most ``most``, else by sections.

    ``most`` is two screens of a phone, and what the keys of a player without a screen still step through (our
    choice). ``labels`` and ``devices`` are what chapters are named by, as markers are.
    """

    by: ChaptersBy = "auto"
    most: int = 24
    labels: Sequence[LabelName] = MARKED
    devices: bool = False

    def __post_init__(self) -> None:
        """Refuse what makes no chapters; ValueError."""
        if not FEWEST <= self.most <= MOST:
            raise ValueError(f"most must lie between {FEWEST} and {MOST} chapters, got {self.most}")


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
