"""What notes are over the chords of a chart."""

from collections.abc import Sequence

from batch.charts import chart_unused
from batch.harmony.chart import Chart, NoChart
from batch.harmony.laying import ChartChoice, complaints, lay, over_chords
from batch.model import Grid, Harmony, Note
from batch.settings import GridSettings

__all__ = ["Chart", "ChartChoice", "NoChart", "chart_choice", "chart_warnings", "harmony_of"]


def chart_choice(chosen: GridSettings) -> ChartChoice:
    """Return how the settings of a take have its chart laid."""
    return ChartChoice(chosen.chart_from_bar, chosen.chart_repeats)


def harmony_of(
    notes: Sequence[Note], chart: Chart | NoChart | None, grid: Grid | None, choice: ChartChoice
) -> Harmony | None:
    """Return what notes are over a chart; None without one, or without a trusted grid to lay it on."""
    if not isinstance(chart, Chart) or grid is None or not notes:
        return None
    return over_chords(notes, lay(chart, grid, choice), grid, chart.name)


def chart_warnings(
    chosen: GridSettings, chart: Chart | NoChart | None, grid: Grid | None, notes: Sequence[Note]
) -> tuple[str, ...]:
    """Return what the player should know of a take's chart."""
    if chart is None:
        if chosen.chart is None:
            return ()
        where = "put it beside the take"
        return (f"its chord chart {chosen.chart} (grid.chart in takemill.toml) is not there: {where}",)
    if isinstance(chart, NoChart):
        return (chart_unused(chart.name, f"it {chart.problem}; {chart.remedy}"),)
    if not notes:
        return ()  # whatever it says, there is nothing to lay it under
    ends_s = max(note.offset_s for note in notes)
    return tuple(complaints(chart, grid, chart_choice(chosen), ends_s=ends_s))
