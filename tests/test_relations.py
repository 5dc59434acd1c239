"""Which phrase varies or answers which, on phrases made by hand."""

from hypothesis import given
from hypothesis import strategies as st

from batch.labels import label_phrases
from batch.model import Note, Phrase, RelationKind
from batch.relations import relate, similarity
from batch.settings import GrooveSettings, LabelSettings

MOTIF = [(0, 60), (1, 64), (1.5, 62), (2, 67), (3, 65)]


def phrase(motif, start_s=0.0, tempo=0.3, up=0, length=0.9):
    ends = [beat for beat, _ in motif[1:]] + [motif[-1][0] + 1]
    return [
        Note(start_s + beat * tempo, start_s + (beat + length * (end - beat)) * tempo, pitch + up, -12)
        for (beat, pitch), end in zip(motif, ends, strict=True)
    ]


def related(*parts):
    notes = [note for part in parts for note in part]
    phrases, first = [], 0
    for part in parts:
        phrases.append(Phrase(part[0].onset_s, part[-1].offset_s, first, first + len(part) - 1))
        first += len(part)
    labelled = label_phrases(notes, phrases, None, None, labels=LabelSettings(), groove=GrooveSettings())
    return relate(notes, phrases, labelled)


@given(st.integers(-24, 24), st.floats(0.1, 2.0), st.floats(0, 100))
def test_similarity_does_not_depend_on_key_tempo_or_place(up, tempo, start_s):
    assert similarity(phrase(MOTIF), phrase(MOTIF, start_s, tempo, up)) > 0.999


def test_a_transposed_phrase_varies_the_first():
    first, second = related(phrase(MOTIF), phrase(MOTIF, 3.0, up=5))
    assert first.kind is RelationKind.NEW
    assert (second.kind, second.to_phrase) == (RelationKind.VARIES, 0)


def test_a_contrasting_phrase_after_a_short_gap_answers():
    call = phrase([(i / 4, 72 - i) for i in range(12)])
    answer = phrase([(0, 50), (4, 57), (8, 48), (9, 60), (14, 51)], call[-1].offset_s + 0.5)
    assert related(call, answer)[1].kind is RelationKind.ANSWERS


def test_the_same_contrast_after_a_long_silence_is_new():
    call = phrase([(i / 4, 72 - i) for i in range(12)])
    later = phrase([(0, 50), (4, 57), (8, 48), (9, 60), (14, 51)], call[-1].offset_s + 9)
    assert related(call, later)[1].kind is RelationKind.NEW


def test_too_few_notes_have_no_shape_to_compare():
    assert similarity(phrase(MOTIF[:3]), phrase(MOTIF)) is None
