import numpy as np
import pytest

from batch.beats.alone.downbeat import Downbeat, doings
from batch.beats.alone.view import Events
from batch.model import Note

BEATS_S = np.arange(16) * 0.5


def long_notes_on_first(offset: int) -> Events:
    """Return a bar's long note on every fourth beat, counted from ``offset``."""
    at = [0.5 * beat for beat in range(offset, 16, 4)]
    return Events.of([Note(t, t + 1.9, 60.0, -20.0) for t in at])


@pytest.mark.parametrize("offset", range(4))
def test_the_beat_with_what_first_beats_have_is_the_first(offset):
    columns = doings(long_notes_on_first(0), BEATS_S).shape[1]
    weights = np.zeros((columns, 4))
    weights[columns // 3 + 1, 0] = 1.0  # a long note on the beat itself speaks for the first
    numbers = Downbeat(weights, np.zeros(4)).numbers(long_notes_on_first(offset), BEATS_S, 4)
    assert [i for i, number in enumerate(numbers) if number == 1] == list(range(offset, 16, 4))


def test_a_beat_without_notes_has_nothing_of_its_own():
    around = doings(Events.of([Note(0.0, 0.4, 60.0, -20.0)]), BEATS_S)
    assert not around[8].any()
