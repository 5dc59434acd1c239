"""The listening page of a take."""

from dataclasses import dataclass

from batch.model import Analysis


@dataclass(frozen=True, slots=True)
class TakePage:
    """``NAME.listen.html``: the take's phrases over its waveform, to be seen, chosen and heard."""

    suffix: str = ".listen.html"

    def render(self, analysis: Analysis) -> bytes:
        """Return HTML in UTF-8."""
        raise NotImplementedError
