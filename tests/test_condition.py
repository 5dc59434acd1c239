"""What is said of a recording's state: offset, clipping, level; each made here in a known amount."""

import numpy as np
import pytest
import soundfile
from recording import RATE, tone, write_media
from sounding import RATE_HZ, line, sound_of

from batch.pipeline import analyse
from batch.settings import Settings
from batch.sound.condition import Meter
from batch.takes import AudioTake, open_take


def measured(path) -> tuple[np.ndarray, Meter, tuple[str, ...]]:
    take, meter = open_take(path, ""), Meter()
    assert isinstance(take, AudioTake)
    sound = np.concatenate(list(take.blocks(meter)))
    return sound, meter, take.warnings(meter)


def written(path, sound, coding="PCM_16", rate=RATE):
    soundfile.write(path, sound, rate, subtype=coding)
    return path


def clipped(seconds: float, hz: float = 440.0) -> np.ndarray:
    return np.clip(3 * tone(seconds, hz), -1, 1)


def test_of_a_good_take_nothing_is_said(tmp_path):
    assert measured(written(tmp_path / "take.wav", 1.9 * tone(3.0)))[2] == ()


@pytest.mark.parametrize("offset", [0.03, -0.2])
def test_a_constant_offset_is_said_and_left_out(tmp_path, offset):
    sound, meter, said = measured(written(tmp_path / "take.wav", tone(3.0) + offset))
    assert meter.condition().offset == pytest.approx(offset, abs=1e-3)
    assert len(said) == 1 and f"{100 * offset:+.1f} % of full scale" in said[0]
    np.testing.assert_allclose(sound, tone(3.0), atol=2e-4)


def test_a_small_constant_offset_is_left_out_without_a_word(tmp_path):
    sound, _, said = measured(written(tmp_path / "take.wav", 0.01 * tone(3.0) + 0.004))
    assert said == ()
    np.testing.assert_allclose(sound, 0.01 * tone(3.0), atol=2e-4)


def test_the_offset_of_one_channel_is_said(tmp_path):
    _, _, said = measured(written(tmp_path / "take.wav", np.stack([tone(3.0), tone(3.0) - 0.1], axis=1)))
    assert len(said) == 1 and "-10.0 %" in said[0]


@pytest.mark.parametrize(
    "coding", ["PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE", "ULAW", "ALAW"]
)
def test_clipping_is_counted_by_its_places(tmp_path, coding):
    # A sine of 440 Hz cut off on both sides for 2 s: two flat tops a period.
    sound = np.stack([tone(2.0) / 3, clipped(2.0)], axis=1)
    _, meter, said = measured(written(tmp_path / "take.wav", sound, coding))
    assert meter.condition().clipped == pytest.approx(2 * 440 * 2, abs=4)
    assert len(said) == 1 and f"clipped in {meter.condition().clipped:,} places" in said[0]


def test_clipping_shows_through_lossy_coding(tmp_path):
    path = write_media(tmp_path / "take.webm", [clipped(3.0)], "libopus")
    assert any("clipped" in text for text in measured(path)[2])


def test_a_take_brought_to_full_scale_or_above_it_in_float_is_not_clipped(tmp_path):
    assert measured(written(tmp_path / "take.wav", tone(3.0) * 2))[2] == ()
    assert measured(written(tmp_path / "take.wav", tone(3.0) * 6, "FLOAT"))[2] == ()


# A sine of amplitude a has the level 20 log10(a / sqrt 2).
def test_near_silence_is_said_with_its_level(tmp_path):
    _, _, said = measured(written(tmp_path / "take.wav", tone(3.0) * 0.002, "PCM_24"))
    assert len(said) == 1 and "loudest part is at -63 dB" in said[0]


def test_a_loud_phrase_among_silence_is_not_near_silence(tmp_path):
    sound = np.concatenate([np.zeros(30 * RATE), 0.2 * tone(2.0), np.zeros(10 * RATE)])
    assert measured(written(tmp_path / "take.flac", sound))[2] == ()


def test_silence_is_said_once_and_not_called_near_silence(tmp_path):
    path = written(tmp_path / "take.wav", np.zeros(RATE))
    said = analyse(open_take(path, ""), Settings(), None).warnings
    assert [text for text in said if "silent" in text] == [
        "no phrases: the take is silent; check what the recorder was listening to"
    ]


def test_a_second_pass_is_measured_afresh(tmp_path):
    take, meter = open_take(written(tmp_path / "take.wav", clipped(2.0)), ""), Meter()
    assert isinstance(take, AudioTake)
    conditions = []
    for _ in range(2):
        assert sum(map(len, take.blocks(meter))) == 2 * RATE
        conditions.append(meter.condition())
    assert conditions[0] == conditions[1]


def test_an_mp3_that_ends_before_its_header_says_is_told(tmp_path):
    noise = np.random.default_rng(4).uniform(-0.5, 0.5, 10 * RATE)
    path = tmp_path / "take.mp3"
    soundfile.write(path, noise, RATE)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    assert any("before its header says" in text for text in measured(path)[2])


def test_an_offset_does_not_change_what_is_heard_and_the_analysis_says_so(tmp_path):
    sound, analyses = sound_of(line()) * 0.5, []
    for offset in (0.0, 0.3):
        path = written(tmp_path / "take.wav", sound + offset, rate=RATE_HZ)
        analyses.append(analyse(open_take(path, ""), Settings(), None))
    clean, shifted = analyses
    assert [round(note.pitch_midi) for note in shifted.notes] == [
        round(note.pitch_midi) for note in clean.notes
    ]
    for attribute in ("onset_s", "offset_s"):
        np.testing.assert_allclose(
            [getattr(note, attribute) for note in shifted.notes],
            [getattr(note, attribute) for note in clean.notes],
            atol=0.006,
        )
    assert [text for text in shifted.warnings if text not in clean.warnings] == [
        "a constant offset (DC) of +30.0 % of full scale, left out for the hearing: take it out in the"
        " recording program, or have the interface looked at"
    ]
