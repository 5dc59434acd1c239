"""Notes struck together are one event: a strum, a voicing, a double stop, of which the top is the line."""

from collections.abc import Iterable, Sequence

from batch.model import Note, Texture, TextureKind

SAME_ONSET_S = 0.03
"""Notes struck within this are one event, however long they last (fitted on nothing: our choice)."""
STRUM_GAP_S = 0.045
"""Between the strings of a slow strum at most: a fast line's notes stand 50 ms apart and more."""
STRUM_LONGEST_S = 0.16
"""From a slow strum's first string to its last (common practice, no source)."""
RINGS_ON_S = 0.03
"""A strum's strings all sound on after the last is struck; a grace note has been let go by then."""
CHORDAL_FROM = 0.2
"""Share of events that are chords from which there are chords; 99 of 100 rendered lines have under 0.13."""
MOSTLY = 0.5
"""Share of events that are chords from which a take is mostly chords (by the word's meaning)."""
SEMITONES = 12

Strum = tuple[Note, ...]


def gathered(notes: Iterable[Note]) -> tuple[Strum, ...]:
    """Return the notes as strums, by onset: of each, the notes by onset, the higher first."""
    strums: list[list[Note]] = []
    all_sound_until_s = 0.0  # of the last strum's notes, kept at hand: a broken file's strum may be endless
    for note in sorted(notes, key=lambda n: (n.onset_s, -n.pitch_midi)):
        if strums and _belongs(note, strums[-1], all_sound_until_s):
            strums[-1].append(note)
            all_sound_until_s = min(all_sound_until_s, note.offset_s)
        else:
            strums.append([note])
            all_sound_until_s = note.offset_s
    return tuple(tuple(strum) for strum in strums)


def _belongs(note: Note, strum: Sequence[Note], all_sound_until_s: float) -> bool:
    since_first = note.onset_s - strum[0].onset_s
    if since_first < SAME_ONSET_S:
        return True
    return (
        note.onset_s - strum[-1].onset_s < STRUM_GAP_S
        and since_first < STRUM_LONGEST_S
        and all_sound_until_s > note.onset_s + RINGS_ON_S
    )


def is_chord(strum: Strum) -> bool:
    """Return whether a strum holds pitches other than octaves of one another: an octave doubles a line."""
    return len({round(note.pitch_midi) % SEMITONES for note in strum}) > 1


def texture_of(strums: Sequence[Strum]) -> Texture | None:
    """Return how chordal played notes are, which is known exactly; None of nothing."""
    if not strums:
        return None
    share = sum(is_chord(strum) for strum in strums) / len(strums)
    kind = TextureKind.CHORDS if share >= MOSTLY else TextureKind.LINE
    return Texture(kind, round(share, 4), len(strums), 1.0)
