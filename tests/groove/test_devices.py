"""Lines that state the meter and devices that rub against it, played anew each time."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from devices import AGAINST_GROOVE, IN_GROOVE, TEMPOS, Line, perform, playable, steady
from hypothesis import given, settings
from hypothesis import strategies as st
from performing import grid_at, one_phrase

from batch.groove import rubs
from batch.labels import label_phrases
from batch.model import Evidence, Groove, Labels, Note
from batch.rhythm import estimate_feel
from batch.settings import GrooveSettings, LabelSettings

HUMAN_S = (0.006, 0.012)
TIMES = 2
"""How often each line is played at each tempo."""

RIGHT = 0.95
"""Share of lines to be labelled right, of each kind and of all."""


def told(notes: Sequence[Note], tempo_bpm: float, meter: tuple[int, int]) -> tuple[Labels, Evidence]:
    grid = grid_at(tempo_bpm, beats=80, meter=meter)
    feel = estimate_feel(np.array([note.onset_s for note in notes]), grid)
    phrase = one_phrase(notes)
    measured = rubs(notes, [phrase], grid, feel)
    ((words, evidence),) = label_phrases(
        notes, [phrase], grid, measured, labels=LabelSettings(), groove=GrooveSettings()
    )
    return words, evidence


def performances(line: Line):
    for tempo in filter(lambda tempo: playable(line, tempo), TEMPOS):
        for time in range(TIMES):
            rng = np.random.default_rng([tempo, time, len(line.onsets)])
            human_s = rng.uniform(*HUMAN_S)
            yield tempo, perform(line, tempo, rng, human_s=human_s, start_beats=line.meter[0])


def is_right(line: Line, words: Labels) -> bool:
    return (words.groove is Groove.AGAINST_GROOVE) == line.against


@pytest.mark.parametrize("lines", [IN_GROOVE, AGAINST_GROOVE], ids=["in", "against"])
def test_lines_are_labelled_as_teachers_would(lines):
    right = [
        is_right(line, told(notes, tempo, line.meter)[0])
        for line in lines.values()
        for tempo, notes in performances(line)
    ]
    assert np.mean(right) >= RIGHT


@pytest.mark.parametrize("name", [name for name, line in AGAINST_GROOVE.items() if line.words])
def test_a_device_is_named_as_players_name_it(name):
    line = AGAINST_GROOVE[name]
    heard = [
        {device.name for device in told(notes, tempo, line.meter)[1].devices}
        for tempo, notes in performances(line)
        if tempo <= 208
    ]
    called = [bool(names & set(line.words)) for names in heard]
    assert np.mean(called) >= 0.75, heard


def in_and_out(tempo_bpm: float, seed: int) -> tuple[tuple[Note, ...], float, float]:
    """Return four bars of eighths of which the middle two are in threes, and where those are."""
    rng = np.random.default_rng(seed)
    plain = Line(steady(0.5, 8), against=False)
    threes = Line(steady(0.5, 9), against=True, group=3)
    before = perform(plain, tempo_bpm, rng, start_beats=4)
    middle = perform(threes, tempo_bpm, rng, start_beats=12)
    after = perform(plain, tempo_bpm, rng, start_beats=21)
    beat_s = 60 / tempo_bpm
    return (*before, *middle, *after), 12 * beat_s, 21 * beat_s


@pytest.mark.parametrize("tempo_bpm", TEMPOS)
def test_a_phrase_that_goes_out_and_comes_back_tells_where(tempo_bpm):
    near = []
    for seed in range(8):
        notes, goes_out_s, comes_back_s = in_and_out(tempo_bpm, seed)
        _, evidence = told(notes, tempo_bpm, (4, 4))
        devices = [device for device in evidence.devices if device.name == "threes over eighths"]
        group_s = 1.5 * 60 / tempo_bpm
        near.append(
            bool(devices)
            and abs(devices[0].start_s - goes_out_s) < group_s
            and abs(devices[-1].end_s - comes_back_s) < 1.5 * group_s
        )
    assert np.mean(near) >= 0.75


def test_two_bars_of_off_beats_in_a_long_line_put_it_against_and_are_placed():
    beats = [*steady(0.5, 16), *(16.5 + k for k in range(8)), *(24.5 + k / 2 for k in range(16))]
    notes = perform(Line(tuple(beats), against=True), 132, np.random.default_rng(4))
    words, evidence = told(notes, 132, (4, 4))
    assert words.groove is Groove.AGAINST_GROOVE
    (device,) = evidence.devices
    beat_s = 60 / 132
    assert device.name == "off-beats"
    assert device.start_s == pytest.approx(16.5 * beat_s, abs=beat_s)
    assert device.end_s == pytest.approx(24.5 * beat_s, abs=beat_s)


def test_a_device_that_goes_on_to_the_end_ends_with_the_phrase():
    line = AGAINST_GROOVE["dotted quarters"]
    notes = perform(line, 120, np.random.default_rng(5))
    _, evidence = told(notes, 120, line.meter)
    assert evidence.devices[-1].end_s == notes[-1].offset_s


def test_a_phrase_in_the_groove_has_no_device():
    _, evidence = told(perform(IN_GROOVE["straight eighths"], 120, np.random.default_rng(6)), 120, (4, 4))
    assert evidence.devices == ()
    assert evidence.grouping_strength is not None


@settings(max_examples=30, deadline=None)
@given(
    name=st.sampled_from([*IN_GROOVE, *AGAINST_GROOVE]),
    up=st.integers(-12, 12),
    louder_db=st.floats(-6, 6),
    bars=st.integers(0, 3),
)
def test_another_key_another_level_or_bars_later_change_nothing(name, up, louder_db, bars):
    line = (IN_GROOVE | AGAINST_GROOVE)[name]
    tempo = 120.0
    notes = perform(line, tempo, np.random.default_rng(7), start_beats=line.meter[0])
    # A whole number of bars, at 120 a whole number of milliseconds.
    compound = line.meter[1] == 8
    later_s = bars * 0.5 * (line.meter[0] // 3 if compound else line.meter[0])
    moved = tuple(
        Note(n.onset_s + later_s, n.offset_s + later_s, n.pitch_midi + up, n.loudness_db + louder_db)
        for n in notes
    )
    words, evidence = told(notes, tempo, line.meter)
    again, others = told(moved, tempo, line.meter)
    assert again == words
    assert [device.name for device in others.devices] == [device.name for device in evidence.devices]


def test_free_lines_are_seldom_taken_for_groups():
    # Intervals in random order hold no group but by chance.
    alarms = []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        notes = perform(replace(IN_GROOVE["long eighth lines"], swing=rng.uniform(1, 2.5)), 160, rng)
        alarms.append(bool(told(notes, 160, (4, 4))[1].devices))
    assert np.mean(alarms) <= 0.05
