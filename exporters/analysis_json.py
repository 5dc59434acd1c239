"""The whole analysis as JSON, in the published format."""

from dataclasses import dataclass

from batch.contract import dump_analysis
from batch.model import Analysis


@dataclass(frozen=True, slots=True)
class AnalysisJson:
    """``NAME.analysis.json``: every note, phrase, label and number."""

    suffix: str = ".analysis.json"

    def render(self, analysis: Analysis) -> bytes:
        """Return JSON text."""
        return dump_analysis(analysis)
