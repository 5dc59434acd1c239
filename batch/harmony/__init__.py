"""What notes are over the chords of a chart."""

from collections.abc import Sequence

from batch.harmony.chart import Chart
from batch.harmony.laying import ChartChoice, chart_warnings, lay, over_chords
from batch.model import Grid, Harmony, Note

__all__ = ["Chart", "ChartChoice", "chart_warnings", "harmony_of"]


def harmony_of(
    notes: Sequence[Note], chart: Chart | None, grid: Grid | None, choice: ChartChoice
) -> Harmony | None:
    """Return what notes are over a chart; None without one, or without a trusted grid to lay it on."""
    if chart is None or grid is None or not notes:
        return None
    return over_chords(notes, lay(chart, grid, choice), grid, chart.name)
