"""Pages and pictures made for tests: they say what they were made of. As a script, the command with these."""

import sys
from collections.abc import Mapping
from dataclasses import dataclass, replace

import exporters
from batch.model import Analysis
from batch.names import HTML_MARK, SVG_MARK
from batch.overview import Overview
from exporters.base import Extra


@dataclass(frozen=True, slots=True)
class ToldPage:
    """A line: which file, which content."""

    suffix: str
    mark: str

    def render(self, analysis: Analysis) -> bytes:
        return f"{self.mark}\n{analysis.take.file} {analysis.take.content_hash}".encode()


@dataclass(frozen=True, slots=True)
class ToldIndex:
    """A line for the folder, for each take, for each that failed, and for how many more there are."""

    file_name: str
    mark: str

    def render(self, overview: Overview) -> bytes:
        lines = [self.mark, f"folder {overview.title}"]
        for take in overview.takes:
            place = f"{take.place.best}-{take.place.worst}"
            phrases = len(take.outline.phrases) if take.outline else "no"
            lines.append(f"{take.recording} {place} {phrases} phrases, {' '.join(take.files)}")
        lines += [f"{entry.path.name}: {entry.reason}" for entry in overview.unheard]
        return "\n".join([*lines, f"and {overview.more}"]).encode()


def told_extras() -> Mapping[str, Extra]:
    """Return what is written on request, pages and pictures in plain words."""
    page = replace(
        exporters.EXTRAS["page"],
        of_take=lambda _: ToldPage(".listen.html", HTML_MARK),
        of_takes=(ToldIndex("listen.html", HTML_MARK),),
    )
    picture = replace(
        exporters.EXTRAS["picture"],
        of_take=lambda _: ToldPage(".phrases.svg", SVG_MARK),
        of_takes=(ToldIndex("phrases.svg", SVG_MARK),),
    )
    return {**exporters.EXTRAS, "page": page, "picture": picture}


if __name__ == "__main__":
    from batch.cli import main

    exporters.EXTRAS = told_extras()
    sys.exit(main())
