"""How takemill words what it found: times, numbers, a take's beat and its variety."""

from collections import Counter
from collections.abc import Iterator, Sequence

from batch.entry import Entry
from batch.inert import inert
from batch.model import Analysis, Motif, Relation, RelationKind, Variety


def clock(time_s: float) -> str:
    """Return a time as m:ss, or h:mm:ss from an hour on."""
    minutes, seconds = divmod(round(time_s), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{seconds:02}" if hours else f"{minutes}:{seconds:02}"


def minute(time_s: float) -> str:
    """Return a time as m:ss.t, or h:mm:ss.t from an hour on."""
    seconds, tenths = divmod(round(time_s * 10), 10)
    return f"{clock(seconds)}.{tenths}"


def count(number: int, noun: str) -> str:
    """Return how many there are: 1 take, 2 takes."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def number(value: float | None, decimals: int = 0) -> str:
    """Return a number, a dash where there is none."""
    return "-" if value is None else f"{value:.{decimals}f}"


def share(value: float | None) -> str:
    """Return a number of 0..1 as .07, to save a column."""
    return "-" if value is None else f"{value:.2f}".removeprefix("0")


def signed(value: float) -> str:
    """Return a whole number with its sign."""
    rounded = round(value)
    return f"{rounded:+d}" if rounded else "0"


def titles_of(entries: Sequence[Entry]) -> list[str]:
    """Return each take's title or file name, with the name of its files where two are alike."""
    labels = [inert(entry.title or entry.path.name) for entry in entries]
    uses = Counter(labels)
    return [
        label if uses[label] == 1 else f"{label} ({inert(entry.name or '')})"
        for label, entry in zip(labels, entries, strict=True)
    ]


def facts(analysis: Analysis) -> str:
    """Return what a take is, in a line, with its file's name where it has a title to stand above it."""
    take = analysis.take
    known = [take.file, clock(take.duration_s), grid_words(analysis)]
    return ", ".join(known if take.title else known[1:])


def grid_words(analysis: Analysis) -> str:
    """Return the tempo, and where it is known from."""
    grid = analysis.grid
    if grid is None:
        return "no grid"
    swing = "" if grid.swing_ratio is None else f", swing {grid.swing_ratio:.1f}"
    if not grid.trusted:
        return f"perhaps {grid.tempo_bpm:.0f} beats a minute"
    return f"{grid.tempo_bpm:.0f} beats a minute from {grid.source}{swing}"


def variety_words(analysis: Analysis) -> str:
    """Return the score with its range and its parts, or why there is none."""
    variety = analysis.variety
    if variety.score is None or variety.low is None or variety.high is None:
        return f"no variety score: {variety.why_null}"
    parts = ", ".join(f"{name.replace('_', ' ')} {number(value)}" for name, value in variety.parts.items())
    return f"variety {variety.score:.0f} ({variety.low:.0f} to {variety.high:.0f}): {parts}"


def never_words(variety: Variety) -> str:
    """Return which labels no phrase has; nothing where all are used, or nothing was measured."""
    words = [word for missing in variety.missing.values() for word in missing]
    return f"never {', '.join(words)}" if words else ""


def relatedness_words(analysis: Analysis) -> list[str]:
    """Return lines: how many phrases take up or answer an earlier one, and where each motif runs."""
    told = analysis.relatedness
    if told is None or told.connectedness is None:
        return []
    related = sum(phrase.relation.kind is not RelationKind.NEW for phrase in analysis.phrases[1:])
    of = count(len(analysis.phrases) - 1, "phrase")
    lines = [f"connected: {related} of the {of} after the first take up or answer an earlier one"]
    if told.motifs:
        motifs = "; ".join(_motif_words(motif) for motif in told.motifs[:_MOST_MOTIFS])
        more = len(told.motifs) - _MOST_MOTIFS
        lines.append(f"motifs: {motifs}{f'; and {more} more' if more > 0 else ''}")
    return lines


def _motif_words(motif: Motif) -> str:
    phrases = ", ".join(f"{phrase + 1}" for phrase in motif.phrases)
    return f"phrases {phrases}, from {clock(motif.start_s)} to {clock(motif.end_s)}"


_MOST_MOTIFS = 4
"""Told in a line (our choice); the rest are counted."""


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
    other = f"{relation.to_phrase + 1:02}"
    if relation.kind is RelationKind.ANSWERS:
        return f"answers {other}"
    more = ["answers" if relation.answers_too else "", *change_words(relation)]
    return ", ".join([f"{_verb(relation)} {other}", *[word for word in more if word][:1]])


def _verb(relation: Relation) -> str:
    """Return what a variation is called: one that knows what it kept, and changed nothing, repeats."""
    return "varies" if not relation.kept or list(change_words(relation)) else "repeats"


def _contrast_words(relation: Relation) -> str:
    return f": contrast in {', '.join(relation.contrasts)}" if relation.contrasts else ""


def change_words(relation: Relation) -> Iterator[str]:
    """Yield what was changed; nothing where a phrase is said again as it was."""
    if relation.kept and not {"intervals", "rhythm"} <= set(relation.kept):
        yield _KEPT_WORDS.get(relation.kept, f"same {' and '.join(relation.kept)}")
    if relation.transposed:
        yield f"{'up' if relation.transposed > 0 else 'down'} {abs(relation.transposed)}"
    if relation.stretched is not None and abs(relation.stretched - 1) > _SAME_TEMPO:
        yield _TEMPO_WORDS.get(round(relation.stretched, 1), f"{relation.stretched:.1f} times as long")
    if relation.notes_left_out:
        yield f"{count(relation.notes_left_out, 'note')} left out"
    if relation.notes_added:
        yield f"{count(relation.notes_added, 'note')} added"
    if relation.notes_replaced:
        yield f"{count(relation.notes_replaced, 'note')} changed"
    if relation.displaced_beats:
        beats = relation.displaced_beats
        yield f"{beats:.3g} {'beat' if beats <= 1 else 'beats'} later in the bar"


_KEPT_WORDS = {("inversion", "rhythm"): "upside down", ("inversion",): "upside down, other rhythm"}
_TEMPO_WORDS = {2.0: "twice as long", 0.5: "half as long"}
_SAME_TEMPO = 0.15
"""Phrases of one tempo differ by less, as they are played (our choice)."""
