"""The marker file, read back by mido, by pretty_midi and by symusic; its bytes against the standard."""

import io
import random
from dataclasses import replace
from itertools import accumulate, pairwise, product
from typing import get_args

import pytest
import symusic
from building import analysis_of, grid_of, phrases_at, take_info
from hypothesis import given, settings
from hypothesis import strategies as st
from reading import (
    markers_by_mido,
    markers_by_symusic,
    of_type,
    opened,
    pretty_midi,
    spans_by_pretty_midi,
    spans_by_symusic,
)

from batch.grid import grid_from_tempo
from batch.model import (
    Analysis,
    Articulation,
    Density,
    Device,
    Groove,
    IntervalSize,
    Labels,
    Length,
    Note,
    Register,
)
from batch.settings import LabelName
from batch.tempo import MeterChange, TempoChange, TempoMap
from exporters.base import named
from exporters.midi_markers import MidiMarkers, MidiNotes, velocity

MILLISECOND = 0.001
HOUR_S = 3600.0
TWO_PHRASES = phrases_at([(0.5, 1.5), (2.0, 4.0)])
TEXT_EVENTS = {"text", "copyright", "track_name", "instrument_name", "lyrics", "marker", "cue_marker",
               "device_name", "program_name"}  # fmt: skip


LABELLED = Labels(
    Length.SHORT,
    Density.SPARSE,
    Groove.AGAINST_GROOVE,
    Articulation.STACCATO,
    Register.HIGH,
    IntervalSize.LEAPS,
)
EVERY = get_args(LabelName)


def test_the_settings_say_which_labels_a_marker_has():
    analysis = analysis_of(phrases_at([(0.5, 1.0)], labels=LABELLED))
    only = MidiMarkers(labels=("register", "length")).render(analysis)
    assert [message.text for _, message in of_type(only, "marker")] == ["01 high short"]


def test_words_that_do_not_fit_a_marker_are_shortened_as_players_do_and_stay_readable():
    # 40 characters are what programs were seen to take.
    assert named("07", LABELLED, EVERY) == "07 short sparse against stacc high leaps"
    assert named("0107", LABELLED, EVERY) == "0107 short sparse against stacc high"


def test_a_middle_register_and_what_is_unmeasured_have_no_word_in_a_marker():
    plain = Labels(Length.LONG, Density.DENSE, Groove.UNMEASURED)
    assert named("01", plain, EVERY) == "01 long dense"


def test_the_bytes_of_one_phrase_are_those_of_the_standard():
    # 120 a minute and 960 ticks a quarter: 1,920 ticks a second. 0.5 s is tick 960, 1.5 s tick 2,880.
    analysis = analysis_of(phrases_at([(0.5, 1.5)]))
    assert MidiMarkers().render(analysis) == bytes.fromhex(
        "4D 54 68 64  00 00 00 06"  # MThd
        "00 00  00 01  03 C0"  # format 0, 1 track, 0x03C0 = 960 ticks a quarter
        "4D 54 72 6B  00 00 00 3D"  # MTrk, 61 bytes follow
        "00 FF 58 04 04 02 18 08"  # 4/4, a click a quarter, 8 thirty-seconds a quarter
        "00 FF 51 03 07 A1 20"  # 0x07A120 = 500,000 us a quarter
        "87 40 FF 06 1C"  # 7 * 128 + 64 = 960 ticks later: a marker of 28 characters
        "30 31 20 6C 6F 6E 67 20 64 65 6E 73 65 20"  # "01 long dense "
        "61 67 61 69 6E 73 74 2D 67 72 6F 6F"  # "against-groo"
        "76 65"  # "ve"
        "00 90 41 70"  # the span: F4 on, loud since against the groove
        "8F 00 80 41 00"  # 15 * 128 = 1,920 ticks later: off
        "00 FF 2F 00"  # end of track
    )


def test_one_track_holds_tempo_meter_markers_and_spans():
    content = MidiMarkers().render(analysis_of(TWO_PHRASES))
    midi = opened(content)
    assert (midi.type, len(midi.tracks), midi.ticks_per_beat) == (0, 1, 960)
    assert [(tick, m.tempo) for tick, m in of_type(content, "set_tempo")] == [(0, 500_000)]
    meters = [(tick, m.numerator, m.denominator) for tick, m in of_type(content, "time_signature")]
    assert meters == [(0, 4, 4)]
    assert len(of_type(content, "note_on")) == len(of_type(content, "note_off")) == 2


def test_markers_are_the_only_text():
    content = MidiMarkers().render(analysis_of(TWO_PHRASES))
    assert {m.type for m in opened(content).tracks[0]} & TEXT_EVENTS == {"marker"}
    theirs = pretty_midi.PrettyMIDI(io.BytesIO(content))
    assert theirs.lyrics == theirs.text_events == []


def test_every_reader_finds_every_phrase():
    content = MidiMarkers().render(analysis_of(TWO_PHRASES))
    names = ["01 long dense against-groove", "02 long dense against-groove"]
    for markers in (markers_by_mido(content), markers_by_symusic(content)):
        assert [text for _, text in markers] == names
        assert [time for time, _ in markers] == pytest.approx([0.5, 2.0], abs=MILLISECOND)
    for spans in (spans_by_pretty_midi(content), spans_by_symusic(content)):
        assert spans == [pytest.approx(span, abs=MILLISECOND) for span in [(0.5, 1.5), (2.0, 4.0)]]


@pytest.mark.parametrize("labels", list(product(Length, Density, Groove)))
def test_a_marker_is_short_printable_ascii_whatever_its_labels(labels):
    phrases = phrases_at([(0.0, 1.0), (2.0, 3.0)], labels=Labels(*labels))
    for _, text in markers_by_mido(MidiMarkers().render(analysis_of(phrases))):
        assert 1 <= len(text) <= 40
        assert all(" " <= c <= "~" for c in text)
        assert text == text.strip()
        assert labels[0].value in text and labels[1].value in text
        assert "unmeasured" not in text


@pytest.mark.parametrize(
    ("count", "first", "last"), [(9, "01 ", "09 "), (99, "01 ", "99 "), (1200, "0001 ", "1200 ")]
)
def test_names_are_unique_and_sort_as_the_phrases_do(count, first, last):
    content = MidiMarkers().render(analysis_of(phrases_at([(i, i + 0.5) for i in range(count)])))
    texts = [text for _, text in markers_by_mido(content)]
    assert len({text.casefold() for text in texts}) == count
    assert texts == sorted(texts)
    assert texts[0].startswith(first) and texts[-1].startswith(last)
    assert max(map(len, texts)) <= 40


def test_a_take_without_phrases_gives_a_file_without_markers():
    content = MidiMarkers().render(analysis_of(()))
    assert markers_by_mido(content) == markers_by_symusic(content) == []
    assert spans_by_pretty_midi(content) == []
    assert len(of_type(content, "set_tempo")) == 1


def test_a_title_does_not_get_in():
    plain = analysis_of(TWO_PHRASES)
    titled = analysis_of(TWO_PHRASES, take=take_info("Ärger – 夜.wav", title="\x1bÄrger – 夜"))
    assert MidiMarkers().render(titled) == MidiMarkers().render(plain)


@st.composite
def an_hour_of_phrases(draw: st.DrawFn) -> list[tuple[float, float]]:
    """Phrases anywhere in an hour, at least 10 ms long."""
    bounds = draw(st.lists(st.floats(0, HOUR_S), min_size=2, max_size=40, unique=True).map(sorted))
    spans = [(a, b) for a, b in pairwise(bounds) if b - a >= 0.01]
    return spans[::2]


def assert_positions(content: bytes, spans: list[tuple[float, float]]) -> None:
    """All three readers find every phrase within a millisecond."""
    starts = [start for start, _ in spans]
    assert [time for time, _ in markers_by_mido(content)] == pytest.approx(starts, abs=MILLISECOND)
    assert [time for time, _ in markers_by_symusic(content)] == pytest.approx(starts, abs=MILLISECOND)
    for found in (spans_by_pretty_midi(content), spans_by_symusic(content)):
        assert found == [pytest.approx(span, abs=MILLISECOND) for span in spans]


@settings(max_examples=15, deadline=None)
@given(an_hour_of_phrases(), st.sampled_from([120.0, 133.33, 61.7, 100.0]))
def test_positions_hold_over_an_hour_at_a_steady_tempo(spans, tempo_bpm):
    assert_positions(MidiMarkers(session_tempo_bpm=tempo_bpm).render(analysis_of(phrases_at(spans))), spans)


def wandering_map(seed: int, ticks_per_quarter: int) -> TempoMap:
    """Return a map with a tempo on every beat, 60 to 160 a minute, longer than an hour."""
    chance = random.Random(seed)
    tempos = (TempoChange(i * ticks_per_quarter, chance.randint(375_000, 1_000_000)) for i in range(8000))
    return TempoMap(ticks_per_quarter, tuple(tempos))


@pytest.mark.parametrize(("seed", "ticks_per_quarter"), [(1, 960), (2, 480), (3, 96), (4, 1000), (5, 25)])
def test_positions_hold_over_an_hour_with_a_tempo_a_beat(seed, ticks_per_quarter):
    tempo_map = wandering_map(seed, ticks_per_quarter)
    chance = random.Random(seed)
    bounds = sorted(chance.uniform(0, HOUR_S) for _ in range(400))
    spans = [(a, b) for a, b in pairwise(bounds) if b - a >= 0.01][::2]
    grid = grid_of((0.0, 0.5), (1, 2), tempo_map=tempo_map)
    content = MidiMarkers().render(analysis_of(phrases_at(spans), grid=grid))
    assert_positions(content, spans)
    assert all(tick % 960 == 0 for tick, _ in of_type(content, "set_tempo"))


def test_positions_hold_over_an_hour_of_ramps_and_meters_off_the_beat():
    chance = random.Random(6)
    ticks = [0, *sorted(chance.sample(range(1, 480 * 8000), 20_000))]
    tempos = tuple(TempoChange(tick, chance.randint(375_000, 1_000_000)) for tick in ticks)
    meters = (MeterChange(0, 4, 4), MeterChange(480 * 40, 7, 8), MeterChange(480 * 40 + 1680, 12, 8))
    grid = grid_of((0.0, 0.5), (1, 2), tempo_map=TempoMap(480, tempos, meters))
    bounds = sorted(chance.uniform(0, HOUR_S) for _ in range(400))
    spans = [(a, b) for a, b in pairwise(bounds) if b - a >= 0.01][::2]
    content = MidiMarkers().render(analysis_of(phrases_at(spans), grid=grid))
    assert_positions(content, spans)
    # 40 quarters and one bar of 7/8 (3360 ticks), then dotted quarters.
    turn = 960 * 40 + 3360
    for tick, _ in of_type(content, "set_tempo"):
        assert (tick - turn) % 1440 == 0 if tick >= turn else tick % 480 == 0


def test_a_sessions_map_is_stated_in_full():
    # 480 ticks a quarter in the session, 960 in the file: ticks double.
    tempo_map = TempoMap(
        480,
        (TempoChange(0, 500_000), TempoChange(1920, 400_000)),
        (MeterChange(0, 4, 4), MeterChange(1920, 6, 8)),
    )
    content = MidiMarkers().render(
        analysis_of(TWO_PHRASES, grid=grid_of((0.0, 0.5), (1, 2), tempo_map=tempo_map))
    )
    assert [(tick, m.tempo) for tick, m in of_type(content, "set_tempo")] == [(0, 500_000), (3840, 400_000)]
    meters = [(tick, m.numerator, m.denominator) for tick, m in of_type(content, "time_signature")]
    assert meters == [(0, 4, 4), (3840, 6, 8)]


def test_an_estimated_grid_never_becomes_the_files_map():
    estimated = grid_of((0.0, 0.7, 1.4), (1, 2, 3), tempo_map=None)
    assert MidiMarkers().render(analysis_of(TWO_PHRASES, grid=estimated)) == MidiMarkers().render(
        analysis_of(TWO_PHRASES)
    )


def test_markers_count_from_the_sessions_zero_where_the_start_is_known():
    # A take that starts 90 s into the session: its phrase at 0.5 s is the session's 90.5 s.
    grid = grid_of((0.0, 0.5), (1, 2), tempo_map=TempoMap(960), starts_at_s=90.0)
    content = MidiMarkers().render(analysis_of(TWO_PHRASES, grid=grid))
    assert_positions(content, [(90.5, 91.5), (92.0, 94.0)])


# A beat is 60 / tempo s long: bars of 2, 2.4, 3, 1.5 and 1.75 s.
@pytest.mark.parametrize(
    ("tempo_bpm", "meter", "downbeat_s", "bar_s"),
    [(120, (4, 4), 0.7, 2.0), (100, (4, 4), 0.1, 2.4), (80, (4, 4), 2.9, 3.0), (80, (6, 8), 1.0, 1.5),
     (240, (7, 8), 1.2, 1.75), (120, (4, 4), -0.4, 2.0), (120, (4, 4), 9.3, 2.0)],
)  # fmt: skip
def test_bar_lines_fall_on_the_music_s_downbeats(tempo_bpm, meter, downbeat_s, bar_s):
    grid = grid_from_tempo(tempo_bpm, meter, duration_s=60, first_downbeat_s=downbeat_s, source="test")
    content = MidiMarkers().render(analysis_of(phrases_at([(1.0, 59.0)]), grid=grid))
    found = pretty_midi.PrettyMIDI(io.BytesIO(content)).get_downbeats()
    assert found[0] == 0.0
    # The first bar may be a pick-up, or hold one.
    assert [(line - downbeat_s + 0.5 * bar_s) % bar_s for line in found[2:]] == pytest.approx(
        [0.5 * bar_s] * len(found[2:]), abs=MILLISECOND
    )
    assert found[1] == pytest.approx(downbeat_s % bar_s, abs=MILLISECOND) or (
        found[1] == pytest.approx(downbeat_s % bar_s + bar_s, abs=MILLISECOND)
    )


def test_format_1_keeps_markers_in_the_first_track_and_spans_in_the_second():
    content = MidiMarkers(midi_format=1).render(analysis_of(TWO_PHRASES))
    midi = opened(content)
    first, second = ({message.type for message in track} for track in midi.tracks)
    assert midi.type == 1
    assert first == {"time_signature", "set_tempo", "marker", "end_of_track"}
    assert second == {"note_on", "note_off", "end_of_track"}
    assert_positions(content, [(0.5, 1.5), (2.0, 4.0)])


def kinds_by_track(content: bytes) -> list[set[str]]:
    return [{message.type for message in track} for track in opened(content).tracks]


CONDUCTOR = {"time_signature", "set_tempo", "end_of_track"}
NOTES = {"note_on", "note_off"}


def test_format_1_may_keep_markers_in_the_last_track_with_notes_in_the_first():
    # One recording program was seen to read markers from the last track alone, where the first has notes.
    content = MidiMarkers(midi_format=1, track="last").render(analysis_of(TWO_PHRASES))
    assert kinds_by_track(content) == [CONDUCTOR | NOTES, {"marker", "end_of_track"}]
    assert_positions(content, [(0.5, 1.5), (2.0, 4.0)])


def test_the_heard_notes_are_a_track_of_several_between_tempo_and_markers():
    analysis = replace(
        analysis_of(TWO_PHRASES), notes=(Note(0.5, 1.0, 61.2, -40.0), Note(2.0, 4.0, 66.0, 0.0))
    )
    for track, place in (("first", 2), ("last", 1)):
        content = MidiMarkers(midi_format=1, track=track, notes=True).render(analysis)
        assert kinds_by_track(content)[place] == NOTES | {"end_of_track"}
        found = symusic.Score.from_midi(content)
        parts = [[(note.start, note.pitch) for note in part.notes] for part in found.tracks]
        assert [(960, 61), (3840, 66)] in parts  # 1920 ticks a second at 120 a minute and 960 a quarter


def test_in_one_track_the_heard_notes_are_a_part_by_their_channel():
    analysis = replace(analysis_of(TWO_PHRASES), notes=(Note(0.5, 1.0, 61.2, -40.0),))
    midi = opened(MidiMarkers(notes=True).render(analysis))
    (track,) = midi.tracks
    ons = [(message.channel, message.note) for message in track if message.type == "note_on"]
    assert (midi.type, sorted(ons)) == (0, [(0, 65), (0, 65), (1, 61)])


def test_the_tempo_map_may_be_left_out_and_positions_stay():
    tempo_map = wandering_map(7, 960)
    analysis = analysis_of(TWO_PHRASES, grid=grid_of((0.0, 0.5), (1, 2), tempo_map=tempo_map))
    content = MidiMarkers(tempo_map="none", session_tempo_bpm=97).render(analysis)
    # 60e6 / 97 = 618,557.
    assert [(tick, m.tempo) for tick, m in of_type(content, "set_tempo")] == [(0, 618_557)]
    assert_positions(content, [(0.5, 1.5), (2.0, 4.0)])


@pytest.mark.parametrize("first_s", [0.0, 0.31, 2.9])
@pytest.mark.parametrize(
    ("beats_per_bar", "subdivision", "division_note", "meter"),
    [(4, 2, 8, (4, 4)), (3, 2, 8, (3, 4)), (2, 3, 8, (6, 8)), (7, 2, 16, (7, 8))],
)
def test_heard_beats_become_the_tempo_map_if_asked_for(
    first_s, beats_per_bar, subdivision, division_note, meter
):
    chance = random.Random(3)
    beats_s = [first_s, *accumulate((chance.uniform(0.3, 0.7) for _ in range(400)), initial=first_s + 0.5)]
    in_bar = [(i + 1) % beats_per_bar + 1 for i in range(len(beats_s))]
    grid = replace(
        grid_of(tuple(beats_s), tuple(in_bar), tempo_map=None),
        beats_per_bar=beats_per_bar, subdivision=subdivision, division_note=division_note,
    )  # fmt: skip
    spans = [(beats_s[1] + 0.1, beats_s[4]), (beats_s[100], beats_s[110])]
    content = MidiMarkers(tempo_map="heard").render(analysis_of(phrases_at(spans), grid=grid))
    assert_positions(content, spans)
    stated = [(m.numerator, m.denominator) for _, m in of_type(content, "time_signature")]
    assert stated[-1] == meter
    found = pretty_midi.PrettyMIDI(io.BytesIO(content)).get_downbeats()
    downbeats = [time for time, number in zip(beats_s, in_bar, strict=True) if number == 1]
    for time in downbeats[1:-1]:
        assert min(abs(found - time)) <= MILLISECOND


def test_a_bar_of_another_length_keeps_the_bars_after_it_on_the_heard_ones():
    in_bar = (1, 2, 3, 4, 1, 2, 1, 2, 3, 4, 1, 2, 3, 4)
    grid = replace(grid_of(tuple(0.5 * i for i in range(14)), in_bar, tempo_map=None), beats_per_bar=4)
    content = MidiMarkers(tempo_map="heard").render(analysis_of(TWO_PHRASES, grid=grid))
    meters = [(tick, m.numerator) for tick, m in of_type(content, "time_signature")]
    assert meters == [(0, 4), (4 * 960, 2), (6 * 960, 4)]


def test_heard_beats_that_cannot_be_trusted_make_no_map():
    grid = replace(grid_of((0.0, 0.7, 1.4), (1, 2, 3), tempo_map=None), trusted=False)
    content = MidiMarkers(tempo_map="heard").render(analysis_of(TWO_PHRASES, grid=grid))
    assert content == MidiMarkers().render(analysis_of(TWO_PHRASES))


def test_cue_points_replace_markers_where_asked_for():
    content = MidiMarkers(event="cue-point").render(analysis_of(TWO_PHRASES))
    assert of_type(content, "marker") == []
    assert [m.text for _, m in of_type(content, "cue_marker")] == [
        "01 long dense against-groove",
        "02 long dense against-groove",
    ]
    assert b"\xff\x07\x1c01 long" in content  # FF 07, 28 characters


@pytest.mark.parametrize("midi_format", [0, 1])
def test_spans_can_be_left_out(midi_format):
    content = MidiMarkers(midi_format=midi_format, spans=False).render(analysis_of(TWO_PHRASES))
    assert of_type(content, "note_on") == []
    assert len(markers_by_mido(content)) == 2


def test_the_session_tempo_of_the_settings_is_stated():
    # 60e6 / 96 = 625,000.
    content = MidiMarkers(session_tempo_bpm=96).render(analysis_of(TWO_PHRASES))
    assert [(tick, m.tempo) for tick, m in of_type(content, "set_tempo")] == [(0, 625_000)]
    assert_positions(content, [(0.5, 1.5), (2.0, 4.0)])


def test_a_phrase_shorter_than_a_tick_still_has_a_span():
    # A tick is 0.52 ms; 0.1 ms rounds to none.
    content = MidiMarkers().render(analysis_of(phrases_at([(1.0, 1.0001)])))
    ((on, _),), ((off, _),) = of_type(content, "note_on"), of_type(content, "note_off")
    assert off - on == 1


def test_phrases_that_touch_do_not_cut_each_others_span():
    content = MidiMarkers().render(analysis_of(phrases_at([(0.0, 1.0), (1.0, 2.0)])))
    assert spans_by_symusic(content) == [pytest.approx((0.0, 1.0)), pytest.approx((1.0, 2.0))]


def test_spans_show_the_labels():
    shown = set()
    for labels in product(Length, Density, Groove):
        content = MidiMarkers().render(analysis_of(phrases_at([(0.0, 1.0)], labels=Labels(*labels))))
        ((_, on),) = of_type(content, "note_on")
        shown.add((on.note, on.velocity))
    assert len(shown) == 2 * 2 * 3


def played(*notes: Note) -> Analysis:
    return replace(analysis_of(()), notes=notes)


def test_heard_notes_are_written_to_a_file_of_their_own():
    # -40 dB is 40 log10(v / 127) at v = 12.7; 0 dB is 127. 61.4 rounds to C#4.
    content = MidiNotes().render(played(Note(1.0, 2.0, 61.4, -40.0), Note(2.0, 2.5, 64.0, 0.0)))
    (track,) = symusic.Score.from_midi(content, ttype="second").tracks
    assert [(n.pitch, n.velocity) for n in track.notes] == [(61, 13), (64, 127)]
    assert spans_by_pretty_midi(content) == [pytest.approx((1.0, 2.0)), pytest.approx((2.0, 2.5))]
    assert markers_by_mido(content) == []
    assert MidiNotes().suffix != MidiMarkers().suffix


def test_notes_lie_on_the_same_clock_as_the_markers():
    grid = grid_of((0.0, 0.5), (1, 2), tempo_map=wandering_map(6, 960), starts_at_s=30.0)
    analysis = analysis_of(phrases_at([(1000.0, 1001.0)]), grid=grid)
    ((marker, _),) = of_type(MidiMarkers().render(analysis), "marker")
    ((note, _),) = of_type(MidiNotes().render(analysis), "note_on")
    assert marker == note


@pytest.mark.parametrize(
    ("loudness_db", "expected"), [(0.0, 127), (6.0, 127), (-20.0, 40), (-84.2, 1), (-200.0, 1)]
)
def test_a_level_becomes_a_velocity_a_note_can_have(loudness_db, expected):
    # 127 * 10^(-20 / 40) = 40.2; velocity 0 would be a note-off.
    assert velocity(loudness_db) == expected


@pytest.mark.parametrize("pitch", [0.0, 127.0, -0.4, 127.4])
def test_the_outermost_pitches_are_written(pitch):
    ((_, on),) = of_type(MidiNotes().render(played(Note(0.0, 1.0, pitch, -20.0))), "note_on")
    assert on.note in {0, 127}


def test_the_same_analysis_gives_the_same_bytes():
    assert MidiMarkers().render(analysis_of(TWO_PHRASES)) == MidiMarkers().render(analysis_of(TWO_PHRASES))


def test_a_marker_may_say_what_puts_its_phrase_against_the_groove():
    first, second = TWO_PHRASES
    devices = (Device("threes over sixteenths", 0.6, 1.2),)
    against = replace(first, evidence=replace(first.evidence, devices=devices))
    analysis = analysis_of((against, second))
    named = [message.text for _, message in of_type(MidiMarkers(devices=True).render(analysis), "marker")]
    assert named == ["01 long dense threes over sixteenths", "02 long dense against-groove"]
    assert all(len(text) <= 40 and text.isascii() for text in named)
    plain = [message.text for _, message in of_type(MidiMarkers().render(analysis), "marker")]
    assert plain[0] == "01 long dense against-groove"
