"""What became of a take that was to be brought up to date."""

from dataclasses import dataclass
from enum import StrEnum

from batch.entry import Entry


class Did(StrEnum):
    """What was done for a take."""

    HEARD = "heard"
    WRITTEN = "written again"
    """Its files were written from an analysis at hand: renamed, copied, other export settings."""
    KNOWN = "heard before"
    """Nothing: its files are there."""
    LEFT = "left for later"
    """It waits: nothing is wrong with it, but it could not be heard now."""
    PARTLY = "lacking a file on request"
    """It is done, but for a file on request that went wrong; the next run writes that."""
    GONE = "gone meanwhile"
    """Its recording was taken away; there is nothing to hear."""
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one take."""

    entry: Entry
    did: Did
