"""Folk songs repeat lines, which is known from their notes: Essen Folksong Collection (Schaffrath 1995)."""

import random

from benchmark.folk_lines import found_repeats, lines_of, related_lines
from phrases.folk_songs import sample

from batch.model import RelationKind

SONGS = lines_of(sample(150))


def test_lines_sung_again_are_found():
    repeats, found = found_repeats(SONGS)
    assert repeats > 100
    assert found >= 0.97 * repeats


def test_lines_of_different_songs_are_seldom_called_variations():
    drawn = random.Random(4)
    relations = []
    for song in SONGS:
        others = drawn.sample([one for one in SONGS if one is not song], len(song))
        relations += related_lines([drawn.choice(other) for other in others])[1:]
    varied = sum(relation.kind is RelationKind.VARIES for relation in relations)
    # Measured: 2 to 3 %. Songs of one tradition share formulas, and the tables were counted on jazz solos.
    assert varied <= 0.05 * len(relations)
