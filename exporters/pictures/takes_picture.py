"""The picture of a folder's takes."""

from dataclasses import dataclass

from batch.overview import Overview


@dataclass(frozen=True, slots=True)
class TakesPicture:
    """``phrases.svg``: a row a take, most varied first."""

    file_name: str = "phrases.svg"

    def render(self, overview: Overview) -> bytes:
        """Return SVG in UTF-8."""
        raise NotImplementedError
