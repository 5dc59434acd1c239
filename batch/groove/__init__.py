"""How a phrase rubs against the groove: syncopation, groups across the beat, distance from the grid."""

from batch.groove.rub import Rub, rubs
from batch.groove.verdict import Verdict, judge

__all__ = ["Rub", "Verdict", "judge", "rubs"]
