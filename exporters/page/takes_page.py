"""The listening page of a folder's takes."""

from dataclasses import dataclass

from batch.overview import Overview


@dataclass(frozen=True, slots=True)
class TakesPage:
    """``listen.html``: all takes side by side, most varied first."""

    file_name: str = "listen.html"

    def render(self, overview: Overview) -> bytes:
        """Return HTML in UTF-8."""
        raise NotImplementedError
