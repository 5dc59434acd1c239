"""What each phrase of a take does with those before it."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from batch.model import Evidence, Grid, Note, Phrase, Relation, RelationKind
from batch.percentiles import load_percentiles
from batch.relations.alignment import NOTHING, scores_of
from batch.relations.answers import answers
from batch.relations.lines import Lines, lines_of
from batch.relations.surprise import Chance, load_chance
from batch.relations.variation import Position, best_earlier, taken_up, variation
from batch.rhythm import Feel, place
from batch.settings import RelationSettings


def relate(
    notes: Sequence[Note],
    phrases: Sequence[Phrase],
    evidence: Sequence[Evidence],
    *,
    grid: Grid | None,
    feel: Feel,
    settings: RelationSettings,
    chance: Chance | None = None,
) -> tuple[Relation, ...]:
    """Return what each phrase does with those before it.

    A phrase varies the earlier one that it is most surely like, if that is surer than chance allows; else it
    answers the one before it if the two make a pair of a call and an answer; otherwise it is new. A
    variation that answers as well says so. ``chance`` is what is fitted unless another is given.
    """
    if not phrases:
        return ()
    chance = chance or load_chance()
    lines = lines_of(notes, phrases, chance.surprise)
    answering = answers(lines, phrases, evidence, load_percentiles(), gap_s=settings.answer_gap_s)
    varying = best_earlier(lines, chance, look_back=settings.look_back, by_chance=settings.by_chance)
    position = None if grid is None else _position(notes, grid, feel)
    plain = lines.plain()
    found = []
    for i, (earlier, answer) in enumerate(zip(varying, answering, strict=True)):
        if earlier is not None:
            varied = variation((plain, lines), earlier[0], i, earlier[1], position)
            found.append(replace(varied, answers_too=True, contrasts=answer.contrasts) if answer else varied)
        elif answer is not None:
            alike = _similarity(plain, i - 1, i)
            found.append(Relation(RelationKind.ANSWERS, i - 1, alike, contrasts=answer.contrasts))
        else:
            found.append(Relation(RelationKind.NEW, None, None))
    return tuple(found)


def similarity(a: Sequence[Note], b: Sequence[Note]) -> float:
    """Return how alike two phrases are, 0..1, whatever their key and tempo; 0 if nothing is in common."""
    notes = [*a, *b]
    phrases = [Phrase(0, 1, 0, len(a) - 1), Phrase(0, 1, len(a), len(notes) - 1)]
    return _similarity(lines_of(notes, phrases, load_chance().surprise).plain(), 0, 1)


def _similarity(plain: Lines, earlier: int, later: int) -> float:
    """Return that of the way in which they are most alike."""
    scores = scores_of(plain, np.array([earlier]), np.array([later]))[0]
    ways = np.flatnonzero(scores > NOTHING)
    return max((taken_up([plain], earlier, later, int(way)).similarity for way in ways), default=0.0)


def _position(notes: Sequence[Note], grid: Grid, feel: Feel) -> Position:
    """Return where in its bar each note stands, in felt beats."""
    beats = place(np.array([note.onset_s for note in notes]), grid, feel)
    whole = np.floor(beats).astype(int)
    number = np.array(grid.beat_in_bar)[np.clip(whole, 0, len(grid.beat_in_bar) - 1)]
    beyond = whole - np.clip(whole, 0, len(grid.beat_in_bar) - 1)
    in_bar = (number - 1 + beyond + beats - whole) * grid.felt_beats
    return Position(in_bar, grid.beats_per_bar * grid.felt_beats, 60 / grid.tempo_bpm)
