"""How moments are worded, marked and listed."""

import csv
import io
from dataclasses import replace

import mido
import pytest
from arcs import take_of, tension_of
from building import analysis_of, phrases_at

from batch.model import (
    Analysis,
    ChordRole,
    ChordSpan,
    Density,
    Device,
    Groove,
    Harmony,
    HeldNote,
    Labels,
    Length,
    Moment,
    MomentKind,
    Note,
    PhraseTension,
    Tension,
)
from batch.settings import Settings, TensionSettings
from batch.tension.moments import moments_of
from batch.tension_words import moment_words, spelled_as, tension_words
from exporters import files_of
from exporters.csv_cues import CsvCues
from exporters.midi_markers import MidiMarkers

SPANS = [(2.0 * i, 2.0 * i + 1.5) for i in range(10)]
OUT_AND_BACK = (6, 7)
"""Phrases 7 and 8, from 1, are against the groove."""


def take() -> Analysis:
    """Return ten phrases, two of them against the groove, with a build, a peak, a release and held notes."""
    phrases = [
        replace(phrase, labels=replace(phrase.labels, groove=Groove.IN_GROOVE))
        for phrase in phrases_at(SPANS)
    ]
    for number in OUT_AND_BACK:
        labels = Labels(Length.LONG, Density.DENSE, Groove.AGAINST_GROOVE)
        phrases[number] = replace(phrases[number], labels=labels)
    moments = (
        Moment(MomentKind.BUILD, 4.0, 11.5, 2, 5),
        Moment(MomentKind.PEAK, 10.5, 11.5, 5, 5),
        Moment(MomentKind.RELEASE, 10.0, 12.0, 5, 6),
        Moment(MomentKind.OUT, 12.25, 16.0, 6, 8),
    )
    held = (HeldNote(3, 3, 3, 1.5, ("long",), "#11"), HeldNote(4, 4, 4, 1.0, ("long",), "3"))
    values = tuple(PhraseTension(i / 10) for i in range(10))
    tension = Tension((0.0, 1.0), (0.1, 0.9), values, moments, held)
    roles = (ChordRole.CHORD_TONE, ChordRole.CHORD_TONE, ChordRole.OUTSIDE, ChordRole.EXTENSION)
    harmony = Harmony(
        "chords.txt",
        (ChordSpan("Cmaj7", 0.0, 20.0, 1),),
        (0,) * 10,
        ("1", "3", "b9", "#11", *("3",) * 6),
        (*roles, *(ChordRole.CHORD_TONE,) * 6),
    )
    made = replace(analysis_of(tuple(phrases)), tension=tension, harmony=harmony)
    notes = list(made.notes)
    notes[3] = Note(notes[3].onset_s, notes[3].offset_s, 66.1, -20.0)
    return replace(made, notes=tuple(notes))


def test_the_groove_is_left_and_come_back_to():
    analysis = take()
    curve = analysis.tension.times_s, analysis.tension.curve
    found = moments_of(analysis.phrases, [0.5] * 10, curve, TensionSettings())
    assert [(m.kind, m.first_phrase, m.last_phrase) for m in found] == [(MomentKind.OUT, 6, 8)]
    assert moment_words(found[0]) == "goes out in phrase 7, back in at 9"
    assert (found[0].start_s, found[0].end_s) == (12.0, 16.0)


def test_the_groove_is_left_where_the_first_device_begins():
    analysis = take()
    phrases = list(analysis.phrases)
    evidence = replace(phrases[6].evidence, devices=(Device("off-beats", 12.75, 13.5),))
    phrases[6] = replace(phrases[6], evidence=evidence)
    (out,) = moments_of(phrases, [0.5] * 10, ([0.0], [0.0]), TensionSettings())
    assert out.start_s == 12.75


def test_a_take_that_stays_out_never_comes_back():
    analysis = take()
    (out,) = moments_of(analysis.phrases[:8], [0.5] * 8, ([0.0], [0.0]), TensionSettings())
    assert (out.first_phrase, out.last_phrase, out.end_s) == (6, None, SPANS[7][1])
    assert moment_words(out) == "goes out in phrase 7 and stays out"


def test_a_drop_into_a_phrase_against_the_groove_is_no_release():
    analysis = take()
    tension = [0.1, 0.2, 0.4, 0.6, 0.8, 0.9, 0.1, 0.1, 0.1, 0.1]
    found = moments_of(analysis.phrases, tension, ([0.0], [0.0]), TensionSettings())
    assert MomentKind.RELEASE not in {m.kind for m in found}
    wider = moments_of(analysis.phrases, tension, ([0.0], [0.0]), TensionSettings(release_phrases=3))
    assert [(m.first_phrase, m.last_phrase) for m in wider if m.kind is MomentKind.RELEASE] == [(5, 8)]


def test_a_take_is_told_in_a_few_lines():
    assert tension_words(take()) == [
        "tension: builds in phrases 3 to 6; peak in phrase 6 at 0:10; releases in phrase 7",
        "groove: goes out in phrase 7, back in at 9",
        "holds: 2 notes; #11 (F#) over Cmaj7 at 0:06",
    ]


def test_a_take_that_ends_on_its_peak_and_an_even_one_are_told():
    notes, phrases = take_of([0.0, 0.2, 0.4, 0.6, 0.8, 1.0])
    rising = replace(analysis_of(phrases), notes=notes, tension=tension_of(notes, phrases))
    assert "ends on its peak" in tension_words(rising)[0]
    notes, phrases = take_of([0.5] * 6)
    even = replace(analysis_of(phrases), notes=notes, tension=tension_of(notes, phrases))
    assert tension_words(even) == ["tension: even, no builds and no peaks"]
    assert tension_words(analysis_of(())) == []


def holds_of(made: Analysis) -> str:
    return tension_words(made)[-1]


def with_roles(made: Analysis, role: ChordRole | None, degree: str | None) -> Analysis:
    harmony = replace(made.harmony, roles=(role,) * 10, degrees=(degree,) * 10)
    held = tuple(replace(each, degree=degree) for each in made.tension.held)
    return replace(made, harmony=harmony, tension=replace(made.tension, held=held))


@pytest.mark.parametrize(("role", "degree"), [(ChordRole.CHORD_TONE, "5"), (None, None)])
def test_over_a_chart_held_chord_tones_are_counted_and_the_longest_told(role, degree):
    told = holds_of(with_roles(take(), role, degree))
    assert told.startswith("holds: 2 notes, the longest F# at 0:06, ")


def test_one_held_note_is_not_the_longest_of_any():
    made = with_roles(take(), ChordRole.CHORD_TONE, "5")
    alone = replace(made, tension=replace(made.tension, held=made.tension.held[:1]))
    assert holds_of(alone) == "holds: 1 note, F# at 0:06"
    without = replace(alone, harmony=None)
    assert holds_of(without) == "holds: 1 note, F# at 0:06"
    outside = with_roles(alone, ChordRole.OUTSIDE, "#11")
    assert holds_of(outside) == "holds: 1 note, #11 (F#) over Cmaj7 at 0:06"


def test_a_major_seventh_is_worded_as_such():
    made = with_roles(take(), ChordRole.OUTSIDE, "7")
    assert "holds: 2 notes; maj7 (" in holds_of(made)
    column = list(csv.DictReader(io.StringIO(CsvCues(("held",)).render(made).decode())))
    assert column[3]["held"] == "maj7"


def test_a_take_against_the_groove_from_its_start_does_not_go_out():
    first = Moment(MomentKind.OUT, 0.0, 4.0, 0, 2)
    second, third = Moment(MomentKind.OUT, 8.0, 10.0, 4, 5), Moment(MomentKind.OUT, 12.0, 20.0, 6, None)
    made = take()

    def groove_of(*moments: Moment) -> str:
        return tension_words(replace(made, tension=replace(made.tension, moments=moments)))[1]

    assert groove_of(first) == "groove: starts out of the groove, back in at 3"
    assert groove_of(first, second) == (
        "groove: starts out of the groove, back in at 3; out in 5, back in at 6"
    )
    assert groove_of(second, third) == ("groove: goes out in phrase 5, back in at 6; out in 7 and stays out")


def test_a_take_without_moments_is_even_only_if_its_phrases_are():
    made = take()

    def shape_of(*values: float) -> list[str]:
        phrases = tuple(PhraseTension(value) for value in values)
        tension = replace(made.tension, phrases=phrases, moments=(), held=())
        return tension_words(replace(made, tension=tension))

    assert shape_of(0.3, 0.4, 0.35) == ["tension: even, no builds and no peaks"]
    assert shape_of(0.1, 0.6, 0.3) == ["tension: no builds and no peaks"]
    assert shape_of(0.4) == []


# Names by the staff: a degree keeps its letter (textbook).
@pytest.mark.parametrize(
    ("pitch", "degree", "symbol", "name"),
    [(66, "#11", "Cmaj7", "F#"), (60, "#11", "Gbmaj7", "C"), (68, "3", "E7", "G#"), (61, "b9", "C7", "Db"),
     (63, "#9", "C7", "D#"), (71, "b3", "Abm", "Cb"), (70, "b7", "C7", "Bb")],
)  # fmt: skip
def test_a_held_note_is_spelled_by_its_degree(pitch, degree, symbol, name):
    assert spelled_as(pitch, degree, symbol) == name


def marks_of(content: bytes) -> list[tuple[float, str]]:
    track = mido.MidiFile(file=io.BytesIO(content)).tracks[0]
    now, found = 0, []
    for message in track:
        now += message.time
        if message.type == "marker":
            found.append((round(now / 960 / 2, 3), message.text))
    return found


def test_moments_stand_as_markers_where_they_are_asked_for():
    plain, with_moments = (marks_of(MidiMarkers(moments=asked).render(take())) for asked in (False, True))
    more = [mark for mark in with_moments if mark not in plain]
    assert more == [
        (4.0, "builds 03-06"), (10.5, "peak 06"), (12.0, "release 07"), (12.25, "out 07"),
        (16.0, "back in 09"),
    ]  # fmt: skip
    assert [mark for mark in with_moments if mark in plain] == plain
    assert [time for time, _ in with_moments] == sorted(time for time, _ in with_moments)


def test_markers_of_moments_are_short_plain_and_unlike_any_other():
    notes, phrases = take_of([0.0, 0.3, 0.6, 1.0, 0.1, 0.0] * 20)
    long_take = replace(analysis_of(phrases), notes=notes, tension=tension_of(notes, phrases))
    texts = [text for _, text in marks_of(MidiMarkers(moments=True).render(long_take))]
    assert len(texts) == len(set(texts)) > len(phrases)
    assert all(text.isascii() and text.isprintable() and len(text) <= 40 for text in texts)
    assert "peak 004" in texts


def test_the_setting_reaches_the_file():
    settings = Settings.model_validate({"markers": {"moments": True}})
    (markers,) = [each for each in files_of(settings).always if each.suffix == ".markers.mid"]
    assert markers == replace(markers, moments=True)


def test_cues_have_tension_shares_and_what_is_held():
    columns = ("number", "tension", "chord_share", "outside_share", "held")
    rows = list(csv.DictReader(io.StringIO(CsvCues(columns).render(take()).decode())))
    assert rows[2] == {
        "number": "3",
        "tension": "0.2",
        "chord_share": "0.0",
        "outside_share": "1.0",
        "held": "",
    }
    assert rows[3]["held"] == "#11"
    bare = list(csv.DictReader(io.StringIO(CsvCues(columns).render(analysis_of(phrases_at(SPANS))).decode())))
    assert set(bare[0].values()) == {"1", ""}
