"""From sound to what is said of it: what is no playing gives no phrases, and playing beside it stays."""

import numpy as np
import pytest
import soundfile
from sounding import RATE_HZ, line, sound_of, write_midi_take

from batch.hearing.training.noise import hum, mixed, pink, rms
from batch.hearing.training.speech import speech
from batch.pipeline import analyse
from batch.settings import Settings
from batch.takes import open_take

SOLO = sound_of(line(phrases=4))
ROOM_DB = -62.0
TALKERS = (0, 1, 2)  # seeds


def heard(path, *parts):
    """Write ``parts`` one after the other, in a quiet room, and listen."""
    sound = np.concatenate(parts)
    room = pink(np.random.default_rng(0), len(sound))
    soundfile.write(path, sound + room / rms(room) * 10 ** (ROOM_DB / 20), RATE_HZ)
    return analyse(open_take(path, ""), Settings(), None)


def rest(seconds: float) -> np.ndarray:
    return np.zeros(int(seconds * RATE_HZ))


def talk(seed: int, seconds: float = 9.0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    said = speech(rng, int(seconds * RATE_HZ))
    said = mixed(said, pink(rng, len(said)), -25.0)
    return 0.1 * said / rms(said)


def clicks(count: int, apart_s: float = 0.5, hz: float = 1_000.0) -> np.ndarray:
    """Sine bursts of 30 ms, as metronomes make them."""
    t = np.arange(int(0.03 * RATE_HZ)) / RATE_HZ
    burst = 0.4 * np.sin(2 * np.pi * hz * t) * np.hanning(len(t))
    return np.concatenate([np.pad(burst, (0, int(apart_s * RATE_HZ) - len(burst)))] * count)


def tuning(open_pitches=(45, 50, 55)) -> np.ndarray:
    """Each string six times, a second apart, its peg turned a little further every time."""
    turns = (-0.9, -0.6, -0.35, -0.15, 0.05, 0.0)
    plucks = [open_pitch + turn for open_pitch in open_pitches for turn in turns]
    return 0.5 * sound_of([(0.5 + i, 1.45 + i, pitch) for i, pitch in enumerate(plucks)])


def left_out(analysis) -> list[str]:
    return [text for text in analysis.warnings if text.startswith(("left out", "no phrases"))]


@pytest.mark.parametrize(
    ("parts", "why"),
    [
        pytest.param([rest(6.0)], "only noise", id="a room"),
        pytest.param([0.05 * hum(np.random.default_rng(1), 6 * RATE_HZ)], "only hum", id="hum"),
        pytest.param([rest(1.0), clicks(16), rest(1.0)], "only a count-in or click", id="a metronome"),
        pytest.param([tuning()], "only tuning", id="tuning"),
    ],
)
def test_a_take_without_playing_has_no_notes_and_says_what_it_holds(tmp_path, parts, why):
    analysis = heard(tmp_path / "take.wav", *parts)
    assert (analysis.notes, analysis.phrases) == ((), ())
    assert [text for text in left_out(analysis) if why in text] == left_out(analysis) != []
    assert analysis.variety.why_null == "no phrase; a score needs 4 or more"


@pytest.mark.parametrize(
    ("before", "what"),
    [
        pytest.param(np.concatenate([rest(1.0), clicks(4)]), "a count-in at 0:00", id="a count-in"),
        pytest.param(np.concatenate([tuning(), rest(1.0)]), "tuning 0:00-0:18", id="tuning"),
    ],
)
def test_what_comes_before_the_playing_is_left_out_and_the_playing_stays(tmp_path, before, what):
    alone = heard(tmp_path / "alone.wav", SOLO)
    both = heard(tmp_path / "both.wav", before, SOLO)
    starts_s = len(before) / RATE_HZ
    assert left_out(alone) == []
    assert len(left_out(both)) == 1 and what in left_out(both)[0]
    assert len(both.phrases) == len(alone.phrases)
    np.testing.assert_allclose(
        [note.onset_s - starts_s for note in both.notes], [note.onset_s for note in alone.notes], atol=0.02
    )


def test_most_talking_is_only_speech(tmp_path):
    # Voices differ: one of three may pass for a line.
    takes = [heard(tmp_path / f"{seed}.wav", talk(seed), rest(1.0)) for seed in TALKERS]
    assert sum(left_out(take) == ["no phrases: only speech"] for take in takes) >= 2


def test_talking_before_playing_is_left_out_and_the_playing_stays(tmp_path):
    alone, told = heard(tmp_path / "alone.wav", SOLO), 0
    for seed in TALKERS:
        both = heard(tmp_path / f"{seed}.wav", talk(seed), rest(1.0), SOLO)
        told += any(text.startswith("left out: speech") for text in both.warnings)
        onsets_s = np.array([note.onset_s for note in both.notes]) - 10.0  # nine of talking, one of rest
        assert all(np.abs(onsets_s - note.onset_s).min() < 0.02 for note in alone.notes)
    assert told >= 2


def test_a_midi_take_s_notes_were_all_played(tmp_path):
    # A count-in as it would be written: four short notes of one pitch, on the beat.
    notes = [(0.5 * i, 0.5 * i + 0.05, 76) for i in range(4)] + [
        (on + 2.0, off + 2.0, p) for on, off, p in line()
    ]
    analysis = analyse(open_take(write_midi_take(tmp_path / "take.mid", notes), ""), Settings(), None)
    assert len(analysis.notes) == len(notes)
    assert left_out(analysis) == []
