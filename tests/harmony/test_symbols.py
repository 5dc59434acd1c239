"""Chord symbols against music21's own tables, and against handbook spellings."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from music21.harmony import ChordSymbol

from batch.harmony.symbols import LONGEST, read_chord

KINDS = [
    "", "m", "7", "maj7", "m7", "dim", "dim7", "aug", "m7b5", "6", "m6", "9", "maj9", "m9", "11", "m11",
    "m13", "sus4", "sus2", "7sus4", "mM7", "mM9", "7b9", "7#9", "7#11", "maj7#11", "7b5",
]  # fmt: skip
ROOTS = ["C", "C#", "Db", "D", "Eb", "E", "F", "F#", "Gb", "G", "Ab", "A", "Bb", "B"]


def pitch_classes(symbol: str) -> set[int]:
    chord = read_chord(symbol)
    assert chord is not None, symbol
    return {(chord.root + at) % 12 for at, _ in (*chord.tones, *chord.tensions)}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("root", ["C", "F#", "Bb", "Ab"])
def test_a_symbol_has_the_pitches_that_music21_gives_it(root, kind):
    other = ChordSymbol(root.replace("b", "-") + {"maj9": "M9"}.get(kind, kind))
    assert pitch_classes(root + kind) == {pitch.pitchClass for pitch in other.pitches}
    assert read_chord(root + kind).root == other.root().pitchClass


@pytest.mark.parametrize("root", ROOTS)
def test_every_root_carries_every_kind(root):
    # A transposed chord is the same chord: its degrees do not depend on its root.
    for kind in KINDS:
        ours, of_c = read_chord(root + kind), read_chord("C" + kind)
        assert (ours.tones, ours.tensions) == (of_c.tones, of_c.tensions)


# Spellings of one chord, as fake books and notation programs write them (common practice, no source).
SAME = {
    "Cmaj7": ["CM7", "C7M", "CMaj7", "CMA7", "Cma7", "CΔ", "CΔ7", "C△7", "C^", "C^7", "Cj7", "Cmajor7"],
    "Cm7": ["C-7", "Cmin7", "Cmi7", "CMI7", "CMin7", "Cminor7"],
    "Cm7b5": ["Cø", "Cø7", "C-7b5", "Cmin7(b5)", "Cm7(♭5)", "Chalfdim7", "CØ"],
    "Cdim7": ["C°7", "Co7", "Cº7"],
    "Cdim": ["C°", "Co"],
    "C7#5": ["C+7", "C7+", "Caug7", "C7(#5)", "C7♯5"],
    "Caug": ["C+"],
    "C7alt": ["Calt", "C7alt.", "C7(alt)"],
    "C69": ["C6/9", "C6(9)", "C6add9"],
    "CmM7": ["Cm(maj7)", "C-Δ7", "Cmmaj7", "Cm(M7)", "Cm7M", "Cmin/maj7", "C-^7"],
    "C7sus4": ["C7sus", "Csus7"],
    "C7b9#11": ["C7(b9,#11)", "C7(b9 #11)", "C7#11b9", "C7(♭9)(♯11)", "C7(♭9/♯11)"],
    "Bbmaj7": ["B♭maj7", "B♭Δ"],
    "F#m7": ["F♯-7", "F♯m7"],
}


@pytest.mark.parametrize(("symbol", "other"), [(s, o) for s, others in SAME.items() for o in others])
def test_spellings_of_one_chord_are_one(symbol, other):
    ours, theirs = read_chord(symbol), read_chord(other)
    assert theirs is not None
    assert (ours.root, ours.tones, ours.tensions) == (theirs.root, theirs.tones, theirs.tensions)


# Degrees by handbook: Levine 1995, chapter on chord symbols (from memory).
@pytest.mark.parametrize(
    ("symbol", "tones", "tensions"),
    [
        ("C13", "1 3 5 b7", "9 13"),
        ("Cmaj9#11", "1 3 5 7", "9 #11"),
        ("C7alt", "1 3 b7", "b9 #9 #11 b13"),
        ("C9sus4", "1 4 5 b7", "9"),
        ("C13sus", "1 4 5 b7", "9 13"),
        ("Cm9b5", "1 b3 b5 b7", "9"),
        ("Cdim(maj7)", "1 b3 b5 7", ""),
        ("C7b9b13", "1 3 5 b7", "b9 b13"),
        ("C7no3", "1 5 b7", ""),
        ("C/E", "1 3 5", ""),
        ("Am7/D", "1 b3 11 5 b7", ""),
        ("C7(9,13)", "1 3 5 b7", "9 13"),
        ("Cadd9", "1 3 5", "9"),
        ("Cm(add9)", "1 b3 5", "9"),
        ("C5", "1 5", ""),
    ],
)
def test_degrees_are_those_of_the_handbook(symbol, tones, tensions):
    chord = read_chord(symbol)
    named = [degree for _, degree in chord.tones], [degree for _, degree in chord.tensions]
    assert named == (tones.split(), tensions.split())


@pytest.mark.parametrize(
    "symbol", ["", "H7", "Xq7", "C7foo", "am7", "%", "C/", "C/X", "C7/9", "II7", "C9999"]
)
def test_what_is_no_symbol_is_not_known(symbol):
    assert read_chord(symbol) is None


@given(st.text(max_size=2 * LONGEST))
def test_any_text_is_a_chord_or_none(text):
    chord = read_chord(text)
    assert chord is None or (0, "1") in chord.tones


@given(st.sampled_from("CDEFGAB"), st.text("b#79513+-susadltmj()", max_size=LONGEST))
def test_any_text_after_a_letter_is_a_chord_near_its_pitch_or_none(letter, text):
    # An accidental or two move a root by two semitones at most.
    chord = read_chord(letter + text)
    natural = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}[letter]
    assert chord is None or min((chord.root - natural) % 12, (natural - chord.root) % 12) <= 2
