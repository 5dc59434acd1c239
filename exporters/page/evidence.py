"""What is behind a phrase's labels, in words and numbers for somebody who looks at it."""

from collections.abc import Iterator
from enum import StrEnum

from batch.bars import BarCounter
from batch.inert import inert
from batch.model import Evidence, Groove, LabelledPhrase, Labels, PhraseTension
from batch.relation_words import relation_words
from batch.words import count, minute

_GROOVE_WORDS = {
    Groove.IN_GROOVE: "in the groove",
    Groove.AGAINST_GROOVE: "against the groove",
    Groove.UNMEASURED: "groove unmeasured",
}
_BEAT_STEPS = 10
"""Tenths of a beat: as near as one looks for a place by eye (our choice)."""
_ON_THE_GRID = 0.1
"""Mean distance in subdivisions that a listener still takes for together (our choice)."""
_LOOSE = 0.2
"""Beyond it the notes are nearly anywhere: 0.25 is what chance gives."""


def label_words(phrase: LabelledPhrase) -> str:
    """Return the labels as a player says them, ``~`` behind those that a small change would turn."""
    evidence, labels = phrase.evidence, phrase.labels
    groove = _GROOVE_WORDS[labels.groove]
    if evidence.devices:
        groove = f"{groove}: {', '.join(dict.fromkeys(inert(device.name) for device in evidence.devices))}"
    words = {"length": labels.length.value, "density": labels.density.value, "groove": groove}
    return ", ".join(f"{text} ~" if name in evidence.borderline else text for name, text in words.items())


def evidence_words(
    phrase: LabelledPhrase, bars: BarCounter | None, tension: PhraseTension | None = None
) -> list[tuple[str, str]]:
    """Return pairs of what is told and the telling; ``bars`` counts them where there is a grid."""
    evidence, labels = phrase.evidence, phrase.labels
    return [
        ("Where", _place(phrase, bars)),
        ("Length", f"{labels.length.value}: {_length(evidence)}"),
        ("Density", f"{labels.density.value}: {_density(evidence)}"),
        ("Groove", "; ".join(_groove(phrase))),
        *_rest(evidence, labels),
        ("Relation", relation_words(phrase.relation)),
        *([("Tension", _tension(tension))] if tension else []),
        *([("In doubt", _doubt(phrase))] if evidence.borderline else []),
    ]


def _place(phrase: LabelledPhrase, bars: BarCounter | None) -> str:
    times = f"{minute(phrase.start_s)} to {minute(phrase.end_s)}"
    if bars is None:
        return times
    (bar, beat), (last, last_beat) = (bars.bar_beat(s, _BEAT_STEPS) for s in (phrase.start_s, phrase.end_s))
    return f"{times}, bar {bar} beat {beat:g} to bar {last} beat {last_beat:g}"


def _length(evidence: Evidence) -> str:
    seconds = f"{evidence.duration_s:.1f} s"
    return seconds if evidence.duration_beats is None else f"{evidence.duration_beats:.1f} beats, {seconds}"


def _density(evidence: Evidence) -> str:
    notes = count(evidence.note_count, "note")
    if evidence.notes_per_beat is None:
        return f"{evidence.notes_per_s:.1f} notes a second, {notes}"
    return f"{evidence.notes_per_beat:.1f} notes a beat, {notes}"


def _groove(phrase: LabelledPhrase) -> Iterator[str]:
    evidence = phrase.evidence
    if phrase.labels.groove is Groove.UNMEASURED:
        yield "unmeasured: there is no beat that is sure enough to count on"
        return
    yield _GROOVE_WORDS[phrase.labels.groove]
    for device in evidence.devices:
        yield f"{inert(device.name)} from {minute(device.start_s)} to {minute(device.end_s)}"
    if evidence.syncopation is not None:
        yield f"{evidence.syncopation:.0%} of the notes syncopated"
    if evidence.off_grid is not None:
        nearness = (
            "on" if evidence.off_grid < _ON_THE_GRID else "near" if evidence.off_grid < _LOOSE else "off"
        )
        yield f"{nearness} the grid ({evidence.off_grid:.2f} of a subdivision away, by chance 0.25)"


def _rest(evidence: Evidence, labels: Labels) -> Iterator[tuple[str, str]]:
    if evidence.articulation is not None:
        held = f"notes last {evidence.articulation:.0%} of the time to the next one"
        yield "Articulation", f"{labels.articulation.value}: {held}"
    above = round(evidence.register)
    side = "above" if above > 0 else "below"
    place = f"{count(abs(above), 'semitone')} {side} the take's middle" if above else "at the take's middle"
    yield "Register", f"{labels.register.value}: {place}"
    if evidence.leap_share is not None:
        larger = f"{evidence.leap_share:.0%} of the intervals are larger than two semitones"
        yield "Intervals", f"{labels.interval_size.value}: {larger}"


def _doubt(phrase: LabelledPhrase) -> str:
    turned = [_turned(name, getattr(phrase.labels, name)) for name in phrase.evidence.borderline]
    return f"a small change would make it {' and '.join(turned)}"


def _tension(tension: PhraseTension) -> str:
    """Return the tension and its parts, the greatest first."""
    parts = sorted(
        ((value, name) for name, value in tension.parts.items() if value is not None), reverse=True
    )
    return f"{tension.value:.0%}: {', '.join(f'{name} {value:.0%}' for value, name in parts)}"


def _turned(name: str, label: StrEnum) -> str:
    """Return what a label would turn to: the other one, where there are but two."""
    if name in ("groove", "register"):
        return f"{'the other' if name == 'groove' else 'another'} {name}"
    return next(other.value for other in type(label) if other not in (label, "unmeasured"))
