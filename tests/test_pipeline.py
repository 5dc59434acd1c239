"""The listening pass as a whole: what must not change a take's score, and what the grid gives."""

from pathlib import Path

import mir_eval
import numpy as np
import pytest
import soundfile
from sounding import sound_of, write_midi_take, write_take

from batch.beats.pulse import Pulse
from batch.midi_take import read_tempo_map
from batch.model import Groove, Placement
from batch.pipeline import analyse
from batch.settings import Settings
from batch.takes import open_take
from batch.tempo import TempoChange, TempoMap

RATE_HZ = 44_100


def improvised(up: int = 0, start_s: float = 0.5) -> list[tuple[float, float, int]]:
    """Return ten phrases on a grid of 120 that differ in every dimension, in seconds."""
    rng = np.random.default_rng(42)
    notes, now = [], start_s
    for phrase in range(10):
        step = (0.125, 0.25, 0.5)[phrase % 3]
        centre = 60 + 5 * (phrase % 4) + up
        for _ in range(int(rng.integers(4, 14))):
            sounding = step * (0.5 if phrase % 2 else 0.93)
            notes.append((now, now + sounding, centre + int(rng.integers(-5, 6))))
            now += step
        now = np.ceil((now + 0.75) * 2) / 2
    return notes


def heard(path: Path, settings: Settings | None = None):
    return analyse(
        open_take(path, "fingerprint"), settings or Settings(), TempoMap.constant(120, (4, 4), 960)
    )


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """The score of the take as it is."""
    path = write_take(tmp_path_factory.mktemp("takes") / "take.wav", improvised(), RATE_HZ)
    return heard(path)


def test_notes_are_heard_as_they_were_played(plain):
    # Scored by mir_eval.transcription (Raffel and others 2014): onset 50 ms, pitch 50 cents.
    played = improvised()
    scores = mir_eval.transcription.precision_recall_f1_overlap(
        np.array([note[:2] for note in played]),
        mir_eval.util.midi_to_hz(np.array([note[2] for note in played], dtype=float)),
        np.array([(note.onset_s, note.offset_s) for note in plain.notes]),
        mir_eval.util.midi_to_hz(np.array([note.pitch_midi for note in plain.notes])),
        offset_ratio=None,
    )
    assert scores[2] > 0.95, f"note F {scores[2]:.3f}"


def transposed(path: Path) -> Path:
    return write_take(path, improvised(up=4), RATE_HZ)


def softer(path: Path) -> Path:
    soundfile.write(path, 0.1 * sound_of(improvised(), RATE_HZ), RATE_HZ, subtype="PCM_24")
    return path


def at_another_rate(path: Path) -> Path:
    return write_take(path, improvised(), 32_000)


def two_bars_later(path: Path) -> Path:
    return write_take(path, improvised(start_s=4.5), RATE_HZ)


def twice_in_a_row(path: Path) -> Path:
    # The second time starts on a bar line at 120, four seconds or more after the first ends.
    once = improvised()
    bars = np.ceil((once[-1][1] + 3) / 2) * 2
    return write_take(path, once + [(a + bars, b + bars, p) for a, b, p in once], RATE_HZ)


@pytest.mark.parametrize("change", [transposed, softer, at_another_rate, two_bars_later, twice_in_a_row])
def test_what_is_no_variety_does_not_change_the_score(plain, change, tmp_path):
    assert heard(change(tmp_path / "take.wav")).variety.score == pytest.approx(plain.variety.score, abs=2)


def test_sound_and_midi_of_one_take_agree(plain, tmp_path):
    midi = heard(write_midi_take(tmp_path / "take.mid", improvised()))
    pairs = list(zip(plain.phrases, midi.phrases, strict=True))
    for label in ("length", "density", "groove"):
        assert all(getattr(a.labels, label) is getattr(b.labels, label) for a, b in pairs), label
    for label in ("articulation", "register", "interval_size"):  # one note unheard of four may turn these
        assert sum(getattr(a.labels, label) is getattr(b.labels, label) for a, b in pairs) >= 8, label
    assert plain.variety.score == pytest.approx(midi.variety.score, abs=5)


def test_the_take_s_start_in_the_session_moves_the_grid(tmp_path):
    path = write_take(tmp_path / "take.wav", improvised(), RATE_HZ)
    settings = Settings.model_validate({"grid": {"starts_at_s": 0.3}})
    grid = heard(path, settings).grid
    # Arithmetic: beats of the session at 0, 0.5, 1.0 ... lie at -0.3, 0.2, 0.7 in the take.
    assert grid.beats_s[:3] == pytest.approx([-0.3, 0.2, 0.7])
    assert grid.beat_in_bar[:3] == (1, 2, 3)


def test_the_analysis_says_where_the_take_lies_and_that_its_map_is_too_short(tmp_path):
    take = open_take(write_midi_take(tmp_path / "take.mid", improvised()), "fingerprint")
    settings = Settings.model_validate({"grid": {"starts_at_s": 4.0, "session_starts_at_s": 3600.0}})
    # Two tempos, and an end two beats after the second: long before the take's.
    tempos = (TempoChange(0, 500_000), TempoChange(960, 480_000))
    analysis = analyse(take, settings, TempoMap(480, tempos, ends_tick=1920))
    assert analysis.placement == Placement(4.0, 3600.0, "settings")
    assert (
        sum("its last tempo, 125 quarters a minute, is taken to go on" in w for w in analysis.warnings) == 1
    )


def test_a_midi_take_is_its_own_grid(tmp_path):
    path = write_midi_take(tmp_path / "take.mid", tempo_bpm=90)
    grid = analyse(open_take(path, "fingerprint"), Settings(), None).grid
    assert (grid.source, grid.tempo_bpm) == ("midi take", pytest.approx(90))
    assert read_tempo_map(path).seconds_at(960) == pytest.approx(60 / 90)


@pytest.mark.parametrize(("confidence", "measured"), [(0.79, False), (0.8, True)])
def test_a_grid_less_sure_than_the_settings_ask_is_told_and_nothing_is_measured_on_it(
    tmp_path, monkeypatch, confidence, measured
):
    def listened(notes, *, duration_s, **told):
        beats = tuple(np.arange(0, duration_s, 0.5).tolist())
        return Pulse(beats, tuple(1 + i % 4 for i in range(len(beats))), 4, confidence)

    monkeypatch.setattr("batch.beats.alone.track_notes", listened)
    take = open_take(write_take(tmp_path / "take.wav", improvised(), RATE_HZ), "fingerprint")
    analysis = analyse(take, Settings(), None)
    assert (analysis.grid.source, analysis.grid.confidence) == ("take alone", confidence)
    assert analysis.grid.trusted is measured
    phrases = analysis.phrases
    assert all((p.labels.groove is not Groove.UNMEASURED) is measured for p in phrases)
    assert all((p.evidence.syncopation is not None) is measured for p in phrases)
    assert all((p.evidence.duration_beats is not None) is measured for p in phrases)
    assert any("beat unsure (confidence 0.79" in warning for warning in analysis.warnings) is not measured


def phrase(start_s: float, *, low: bool) -> list[tuple[float, float, int]]:
    """Return twelve notes at one extreme of length, density, articulation, register and interval size."""
    step, share, pitches = (0.07, 0.97, (50, 51)) if low else (1.0, 0.3, (72, 79))
    return [(start_s + i * step, start_s + (i + share) * step, pitches[i % 2]) for i in range(12)]


def test_a_take_of_one_phrase_again_and_again_has_no_variety(tmp_path):
    notes = [note for bar in range(8) for note in phrase(0.5 + 4.0 * bar, low=True)]
    assert heard(write_take(tmp_path / "take.wav", notes, RATE_HZ)).variety.score <= 4


def test_a_take_of_two_extremes_in_turn_comes_close_to_everything(tmp_path):
    # The groove is not made to vary here.
    notes = []
    for pair in range(4):
        notes += phrase(0.5 + 20 * pair, low=True) + phrase(4.5 + 20 * pair, low=False)
    parts = heard(write_take(tmp_path / "take.wav", notes, RATE_HZ)).variety.parts
    assert min(part for name, part in parts.items() if name != "groove") >= 90, parts
