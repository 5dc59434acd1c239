import numpy as np
import pytest

from batch.beats.alone.view import CELLS_PER_BEAT, NEAR_WIDTH, SIDE, WIDTH, Events, views
from batch.model import Note


def events_at(*onsets_s: float) -> Events:
    return Events.of([Note(t, t + 0.1, 60.0, -20.0) for t in onsets_s])


def test_neighbours_stand_where_they_are_in_beats():
    seen = views(events_at(0.0, 0.5, 1.0, 1.25), np.array([1]), np.array([0.5]))[0, :WIDTH]
    cells = {int(cell) - SIDE for cell in np.flatnonzero(seen)}
    assert cells == {-CELLS_PER_BEAT, 0, CELLS_PER_BEAT, 3 * CELLS_PER_BEAT // 2}  # itself; 1, 1, 1.5 beats


def test_a_neighbour_between_cells_is_shared():
    seen = views(events_at(0.0, 0.5 + 0.25 / CELLS_PER_BEAT), np.array([0]), np.array([0.5]))[0, :WIDTH]
    at = SIDE + CELLS_PER_BEAT
    assert seen[at : at + 2] == pytest.approx([0.5, 0.5], abs=1e-5)


def test_notes_out_of_reach_are_not_seen():
    seen = views(events_at(0.0, 10.0), np.array([0]), np.array([0.5]))[0, : WIDTH + NEAR_WIDTH]
    assert np.flatnonzero(seen).tolist() == [SIDE, WIDTH + NEAR_WIDTH // 2]  # itself and its spacing


def test_notes_struck_together_are_one_event():
    chord = Events.of([Note(1.0, 2.0, 60.0, -9.0), Note(1.01, 3.0, 67.0, -9.0), Note(2.0, 2.5, 60.0, -9.0)])
    assert chord.onset_s.tolist() == [1.0, 2.0]
    assert chord.length_s == pytest.approx([1.99, 0.5])


def test_no_notes_are_no_events():
    assert len(Events.of([]).onset_s) == 0
