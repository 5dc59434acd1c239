"""What is said of chords and bands, and that nothing is said of a line."""

import pytest
from sounding import write_midi_take, write_take

from batch.model import Note, Texture, TextureKind
from batch.pipeline import analyse
from batch.settings import Settings
from batch.takes import open_take
from batch.texture import texture_warnings

LINE, CHORDS, BAND = TextureKind.LINE, TextureKind.CHORDS, TextureKind.BAND


def notes(confidence: float) -> list[Note]:
    return [Note(float(at), at + 0.5, 60.0, -20.0, confidence) for at in range(4)]


def said(kind: TextureKind, share: float, confidence: float = 0.9, sure: float = 0.97) -> str:
    return " ".join(texture_warnings(Texture(kind, share, 40, confidence), notes(sure)))


@pytest.mark.parametrize(
    ("texture", "parts"),
    [
        ((CHORDS, 0.72), ["mostly chords (72 % of what is struck)", "one note", "top voice only"]),
        ((CHORDS, 0.3), ["chords or double stops among the notes (30 % of what is struck)"]),
        ((LINE, 0.3), ["chords or double stops among the notes (30 %"]),
        ((CHORDS, 0.72, 0.6), ["(72 % of what is struck, confidence 0.60)"]),
        ((BAND, 0.4, 0.9, 0.9), ["a whole band seems to be playing", "(mean confidence 0.90)", "with care"]),
        ((BAND, 0.4, 0.6, 0.7), ["a line alone (confidence 0.60)", "rough guess", "channel of its own"]),
    ],
)
def test_one_sentence_says_what_was_heard_and_what_the_labels_are_worth(texture, parts):
    sentence = said(*texture)
    assert all(part in sentence for part in parts), sentence


@pytest.mark.parametrize("share", [0.0, 0.1, 0.19])
def test_of_a_line_nothing_is_said(share):
    assert said(LINE, share) == ""
    assert texture_warnings(None, notes(0.9)) == ()


def test_of_a_band_far_behind_a_line_that_is_surely_heard_nothing_is_said():
    assert said(BAND, 0.3, sure=0.98) == ""


def test_of_what_may_be_the_chords_of_a_band_far_away_nothing_is_said():
    assert said(LINE, 0.25, confidence=0.5) == ""


def heard(path):
    return analyse(open_take(path, "fingerprint"), Settings(), None)


def test_a_take_s_analysis_holds_its_texture_and_warns_of_chords(tmp_path):
    struck = [(0.5 * at, 0.5 * at + 0.4, pitch + at % 5) for at in range(24) for pitch in (48, 55, 64)]
    line = [note for note in struck if note[2] >= 64]
    for chords in (
        heard(write_midi_take(tmp_path / "chords.mid", struck)),
        heard(write_take(tmp_path / "chords.wav", struck)),
    ):
        assert chords.texture.kind is CHORDS
        assert any(warning.startswith("mostly chords (") for warning in chords.warnings)
        assert len(chords.notes) == pytest.approx(24, abs=2)
    alone = heard(write_take(tmp_path / "line.wav", line))
    assert alone.texture.kind is LINE
    assert not any("chords" in warning or "band" in warning for warning in alone.warnings)
