"""Chapters as WebVTT, for a video of a take or of a session.

W3C, "WebVTT: The Web Video Text Tracks Format", Candidate Recommendation, 10 May 2018; clauses are its own.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from batch.inert import inert
from batch.model import Analysis
from batch.names import MADE_BY
from batch.session import Layout, Placed
from exporters.chapters.chapter import Chapter, Division, clock, milliseconds
from exporters.chapters.takes import chapters_of, phrases_as_chapters, sections_as_chapters
from exporters.session_names import phrase_names

_ESCAPED = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;"})
"""Of a cue's text (4.2.2); and so none holds the arrow that parts times (4.1)."""


@dataclass(frozen=True, slots=True)
class WebVtt:
    """A take's chapters; times count from the take's start."""

    settings: Division = field(default_factory=Division)
    suffix: str = ".chapters.vtt"

    def render(self, analysis: Analysis) -> bytes:
        """Return a file of chapters one after another, with no cue where the take has no phrases."""
        return _file(chapters_of(analysis, self.settings))


@dataclass(frozen=True, slots=True)
class SessionVtt:
    """A session's takes as chapters, by phrase or section if asked for with these inside.

    A chapter ends where the next take starts, also where its own goes on: chapters may lie inside one
    another, not overlap (4.5.1). Takes that start together share a chapter, which is named by all and holds
    the phrases of the first. A take that could not be heard has no length, and no chapter.
    """

    settings: Division = field(default_factory=Division)
    suffix: str = ".session-chapters.vtt"

    def render(self, layout: Layout) -> bytes:
        """Return a file of the takes in their order, each in front of what it holds."""
        return _file(self._cues(layout))

    def _cues(self, layout: Layout) -> Iterator[Chapter]:
        together = _together(layout)
        starts_s = [layout.takes[indices[0]].start_s for indices in together]
        for indices, next_s in zip(together, [*starts_s[1:], float("inf")], strict=False):
            takes = [layout.takes[index] for index in indices]
            end_s = min(max(take.end_s for take in takes), next_s)
            yield Chapter(takes[0].start_s, end_s, " + ".join(_title(layout, index) for index in indices))
            if self.settings.by != "auto":
                yield from self._inside(layout, indices[0], end_s)

    def _inside(self, layout: Layout, index: int, end_s: float) -> Iterator[Chapter]:
        """Yield what a take holds, up to where its chapter ends."""
        one = layout.takes[index]
        phrases = one.take.outline.phrases if one.take.outline else ()
        names = list(phrase_names(layout, index, self.settings.labels))
        if self.settings.by == "phrase":
            chapters = phrases_as_chapters(phrases, names, end_s - one.start_s)
        else:
            chapters = sections_as_chapters(phrases, names, end_s - one.start_s, self.settings)
        for chapter in chapters:
            start_s = one.start_s + chapter.start_s
            if milliseconds(start_s) < milliseconds(end_s):
                yield Chapter(start_s, min(one.start_s + chapter.end_s, end_s), chapter.title)


def _together(layout: Layout) -> list[list[int]]:
    """Return the takes that have a length, by their places, those that start in one millisecond together."""
    found: dict[int, list[int]] = {}
    for index, one in enumerate(layout.takes):
        if milliseconds(one.end_s) > milliseconds(one.start_s):
            found.setdefault(milliseconds(one.start_s), []).append(index)
    return [found[start_ms] for start_ms in sorted(found)]


def _title(layout: Layout, index: int) -> str:
    """Return a take's number in the session and its name, as markers have them, in its own letters."""
    one: Placed = layout.takes[index]
    return f"{index + 1:0{max(2, len(str(len(layout.takes))))}} {inert(one.take.name)}"


def _file(chapters: Iterable[Chapter]) -> bytes:
    """Return a file body (4.1) in UTF-8: the mark as a comment, then a cue a chapter."""
    blocks: Sequence[str] = ["WEBVTT", f"NOTE {MADE_BY}", *map(_cue, chapters)]
    return ("\n\n".join(blocks) + "\n").encode("utf-8", errors="replace")


def _cue(chapter: Chapter) -> str:
    times = f"{clock(chapter.start_ms)} --> {clock(chapter.end_ms)}"
    return f"{times}\n{chapter.title.translate(_ESCAPED)}"
