"""The picture of a take."""

from dataclasses import dataclass

from batch.model import Analysis


@dataclass(frozen=True, slots=True)
class TakePicture:
    """``NAME.phrases.svg``: length, density and groove of each phrase in time, on one page."""

    suffix: str = ".phrases.svg"

    def render(self, analysis: Analysis) -> bytes:
        """Return SVG in UTF-8."""
        raise NotImplementedError
