"""How takemill words what phrases do with one another."""

from collections.abc import Iterator
from fractions import Fraction

from batch.model import Analysis, Motif, Relation, RelationKind
from batch.words import clock, count

_MOST_MOTIFS = 4
"""Told in a line (our choice); the rest are counted."""
_SAME_TEMPO = 0.15
"""Phrases of one tempo differ by less, as they are played (our choice)."""
_KEPT_WORDS = {
    ("intervals",): "same intervals, other rhythm",
    ("contour",): "same contour, other rhythm",
    ("contour", "rhythm"): "same contour and rhythm",
    ("rhythm",): "same rhythm, other notes",
    ("inversion", "rhythm"): "upside down",
    ("inversion",): "upside down, other rhythm",
}
_TEMPO_WORDS = {2.0: "twice as long", 0.5: "half as long"}
_INTERVALS = (
    "", "a semitone", "a whole tone", "a minor third", "a major third", "a fourth", "a tritone", "a fifth",
    "a minor sixth", "a major sixth", "a minor seventh", "a major seventh",
)  # fmt: skip
_OCTAVE = 12
_PARTS = {
    Fraction(1, 2): "half",
    Fraction(1, 3): "a third of",
    Fraction(2, 3): "two thirds of",
    Fraction(1, 4): "a quarter of",
    Fraction(3, 4): "three quarters of",
}
_FINEST = 12
"""Parts of a beat: halves, thirds and quarters."""


def relatedness_words(analysis: Analysis) -> list[str]:
    """Return lines: how many phrases take up or answer an earlier one, and where each motif runs."""
    told = analysis.relatedness
    if told is None or told.connectedness is None:
        return []
    related = sum(phrase.relation.kind is not RelationKind.NEW for phrase in analysis.phrases[1:])
    others = len(analysis.phrases) - 1
    many = {0: "none", others: "all"}.get(related, f"{related}")
    verbs = "takes up or answers" if related == 1 else "take up or answer"
    lines = [f"connected: {many} of the {others} phrases after the first {verbs} an earlier one"]
    if told.motifs:
        motifs = "; ".join(_motif_words(motif) for motif in told.motifs[:_MOST_MOTIFS])
        more = len(told.motifs) - _MOST_MOTIFS
        lines.append(f"motifs: {motifs}{f'; and {more} more' if more > 0 else ''}")
    return lines


def _motif_words(motif: Motif) -> str:
    phrases = ", ".join(f"{phrase + 1}" for phrase in motif.phrases)
    return f"phrases {phrases}, from {clock(motif.start_s)} to {clock(motif.end_s)}"


def relation_words(relation: Relation) -> str:
    """Return what a phrase does with an earlier one, in full."""
    if relation.to_phrase is None:
        return relation.kind.value
    other = f"phrase {relation.to_phrase + 1}"
    if relation.kind is RelationKind.ANSWERS:
        return f"answers {other}{_contrast_words(relation)}"
    like = "" if relation.similarity is None else f" (similarity {relation.similarity:.2f})"
    changes = ", ".join(change_words(relation))
    told = f"{_verb(relation)} {other}{like}{': ' if changes else ''}{changes}"
    return f"{told}; answers the one before{_contrast_words(relation)}" if relation.answers_too else told


def short_relation(relation: Relation) -> str:
    """Return the same for a narrow column: the other phrase and what tells most; nothing of a new one."""
    if relation.to_phrase is None:
        return ""
    told = bare_relation(relation)
    more = ["answers" if relation.answers_too else "", *change_words(relation)]
    return ", ".join([told, *[word for word in more if word][:1]])


def bare_relation(relation: Relation) -> str:
    """Return what a phrase does with which one: ``varies 01``, or ``new``."""
    if relation.to_phrase is None:
        return relation.kind.value
    verb = "answers" if relation.kind is RelationKind.ANSWERS else _verb(relation)
    return f"{verb} {relation.to_phrase + 1:02}"


def _verb(relation: Relation) -> str:
    """Return what a variation is called: one that knows what it kept, and changed nothing, repeats."""
    if relation.in_passing:
        return f"takes up {count(relation.notes_kept or 0, 'note')} of"
    return "varies" if not relation.kept or list(change_words(relation)) else "repeats"


def _contrast_words(relation: Relation) -> str:
    return f": contrast in {', '.join(relation.contrasts)}" if relation.contrasts else ""


def change_words(relation: Relation) -> Iterator[str]:
    """Yield what was changed; nothing where a phrase is said again as it was."""
    if relation.kept and not {"intervals", "rhythm"} <= set(relation.kept):
        yield _KEPT_WORDS.get(relation.kept, f"same {' and '.join(relation.kept)}")
    if relation.transposed:
        yield f"{'up' if relation.transposed > 0 else 'down'} {_interval(abs(relation.transposed))}"
    if relation.stretched is not None and abs(relation.stretched - 1) > _SAME_TEMPO:
        yield _TEMPO_WORDS.get(round(relation.stretched, 1), f"{relation.stretched:.1f} times as long")
    if not relation.in_passing:
        yield from _note_words(relation)
    if relation.displaced_beats:
        side = "later" if relation.displaced_beats > 0 else "earlier"
        yield f"{_beats(abs(relation.displaced_beats))} {side} in the bar"


def _note_words(relation: Relation) -> Iterator[str]:
    """Yield how many notes were left out, added and changed, the most first."""
    counts = {
        "left out": relation.notes_left_out,
        "added": relation.notes_added,
        "changed": relation.notes_replaced,
    }
    for what, notes in sorted(counts.items(), key=lambda each: -each[1]):
        if notes:
            yield f"{count(notes, 'note')} {what}"


def _interval(semitones: int) -> str:
    """Return an interval as players call it: a fourth, an octave and a fifth, two octaves."""
    octaves, rest = divmod(semitones, _OCTAVE)
    whole = {0: "", 1: "an octave"}.get(octaves, f"{octaves} octaves")
    return " and ".join(filter(None, (whole, _INTERVALS[rest])))


def _beats(beats: float) -> str:
    """Return a number of beats as players say it: half a beat, two thirds of a beat, 1 1/2 beats."""
    parts = Fraction(round(beats * _FINEST), _FINEST)
    whole, rest = divmod(parts, 1)
    if not whole:
        return f"{_PARTS.get(rest, f'{rest} of')} a beat"
    if not rest:
        return "a beat" if whole == 1 else f"{whole} beats"
    return f"{whole} {rest} beats"
