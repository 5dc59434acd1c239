"""The chapters of a take, by its analysis or its outline."""

from collections.abc import Sequence

from batch.model import Analysis
from exporters.base import phrase_names
from exporters.chapters.chapter import Chapter, Division, Phrased
from exporters.chapters.sections import section_title, sections_of


def chapters_of(analysis: Analysis, settings: Division, *, held: int | None = None) -> tuple[Chapter, ...]:
    """Return the chapters of a take, none where it has no phrases.

    A file that holds only so many (``held``) gets sections where the phrases are more. Nothing stands for
    what lies before the first phrase: chapters lie where phrases do, and the seventh is phrase 7.
    """
    names = phrase_names(analysis.phrases, labels=settings.labels, with_devices=settings.devices)
    by_section = settings.by == "section" or (settings.by == "auto" and len(names) > settings.most)
    if by_section or (held is not None and len(names) > held):
        return sections_as_chapters(analysis.phrases, names, analysis.take.duration_s, settings)
    return phrases_as_chapters(analysis.phrases, names, analysis.take.duration_s)


def phrases_as_chapters(
    phrases: Sequence[Phrased], names: Sequence[str], end_s: float
) -> tuple[Chapter, ...]:
    """Return a chapter for each phrase, by its name."""
    return _joined([(phrase.start_s, name) for phrase, name in zip(phrases, names, strict=True)], end_s)


def sections_as_chapters(
    phrases: Sequence[Phrased], names: Sequence[str], end_s: float, settings: Division
) -> tuple[Chapter, ...]:
    """Return a chapter for each section; one of a single phrase has that phrase's name."""
    if not phrases:
        return ()
    starts = []
    for section in sections_of(phrases, settings.most):
        alone = len(section) == 1
        title = names[section.start] if alone else section_title(phrases, section, settings.labels)
        starts.append((phrases[section.start].start_s, title))
    return _joined(starts, end_s)


def _joined(starts: Sequence[tuple[float, str]], end_s: float) -> tuple[Chapter, ...]:
    ends_s = [*(start_s for start_s, _ in starts[1:]), end_s]
    return tuple(
        Chapter(start_s, until_s, title) for (start_s, title), until_s in zip(starts, ends_s, strict=False)
    )
