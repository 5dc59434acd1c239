"""How far a phrase leans against the groove, as one number from its evidence."""

from batch.model import Evidence
from batch.settings import GrooveSettings

OFF_GRID_FLOOR = 0.12
"""Distance from the grid, in tatums, of a well-placed phrase; a tenth of the corpus comes nearer."""


def groove_tension(phrase: Evidence, groove: GrooveSettings) -> float | None:
    """Return how near a phrase comes to leaving the groove; 1 is where its label turns."""
    if phrase.syncopation is None or phrase.off_grid is None:
        return None
    off_grid = (phrase.off_grid - OFF_GRID_FLOOR) / (groove.off_grid_from - OFF_GRID_FLOOR)
    run = (phrase.syncopated_run or 0.0) / groove.syncopated_run_from
    grouping = (phrase.grouping_strength or 0.0) / groove.grouping_from
    return max(phrase.syncopation / groove.syncopation_from, run, grouping, off_grid)
