"""A folder's takes as one session: their places, their names, and the files by readers that are not ours."""

import csv
import io
from dataclasses import replace
from pathlib import Path

import mido
import pytest
from building import analysis_of, grid_of, phrases_at, take_info
from hypothesis import given, settings
from hypothesis import strategies as st
from reading import (
    by_music21,
    markers_by_mido,
    markers_by_symusic,
    of_type,
    spans_by_pretty_midi,
    spans_by_symusic,
)

from batch.catalogue_file import FILE_NAME
from batch.kinds import is_take_name
from batch.model import Density, Groove, Labels, Length, Placement
from batch.names import SESSION_SUFFIXES
from batch.outline import Outline, dump_outline, outline_of, parse_outline
from batch.session import Layout, SessionTake, lay_out
from batch.settings import SessionSettings
from batch.tempo import MeterChange, TempoChange, TempoMap
from exporters.session_cues import SessionCues
from exporters.session_markers import SessionMarkers
from exporters.session_names import ascii_name, section_names

MILLISECOND = 0.001
BY_NAME = SessionSettings()
PHRASES = ((1.0, 2.0), (3.0, 4.5))


def outline(
    duration_s: float = 10.0,
    *,
    spans: tuple[tuple[float, float], ...] = PHRASES,
    reference_s: float | None = None,
    recorded_at: str | None = None,
    zero_reads_s: float = 0.0,
    source: str = "time reference",
    map_print: str | None = None,
) -> Outline:
    place = None
    if reference_s is not None:
        place = Placement(reference_s - zero_reads_s, zero_reads_s, source)
    plain = outline_of(analysis_of(phrases_at(spans), take=take_info(duration_s=duration_s), placement=place))
    return replace(plain, recorded_at=recorded_at, time_reference_s=reference_s, map_print=map_print)


def laid_out(settings: SessionSettings = BY_NAME, **takes: Outline | None) -> Layout:
    return lay_out([SessionTake(name, f"{name}.wav", one) for name, one in takes.items()], settings)


def starts(layout: Layout) -> list[tuple[str, float]]:
    return [(one.take.name, one.start_s) for one in layout.takes]


def test_takes_lie_where_their_time_references_say():
    layout = laid_out(late=outline(reference_s=500.0), early=outline(reference_s=100.0))
    assert starts(layout) == [("early", 100.0), ("late", 500.0)]
    assert layout.remarks == ()


def test_takes_without_a_place_are_laid_one_after_another_by_name_as_people_count():
    layout = laid_out(
        SessionSettings(gap_s=3.0), take10=outline(5.0), take2=outline(10.0), take1=outline(4.0)
    )
    assert starts(layout) == [("take1", 0.0), ("take2", 7.0), ("take10", 20.0)]


def test_a_failed_take_takes_no_other_s_place():
    takes = [
        SessionTake("solo", "solo.wav", outline(reference_s=9.0)),
        SessionTake("solo", "solo.flac", None),
    ]
    assert starts(lay_out(takes, BY_NAME)) == [("solo", 9.0), ("solo", 21.0)]


def test_the_date_of_the_recording_comes_before_the_name():
    layout = laid_out(
        a=outline(10.0, recorded_at="2026-03-14 21:00:00"),
        b=outline(10.0, recorded_at="2026-03-14 20:00:00"),
        c=outline(10.0),
    )
    assert [name for name, _ in starts(layout)] == ["b", "a", "c"]


def test_takes_without_a_place_follow_those_that_have_one_and_that_is_said():
    layout = laid_out(a=outline(10.0), b=outline(60.0, reference_s=100.0))
    assert starts(layout) == [("b", 100.0), ("a", 162.0)]
    assert layout.remarks == ("a.wav: no time reference, laid after the others",)


def test_takes_that_sound_at_once_keep_their_places_and_that_is_said():
    layout = laid_out(left=outline(60.0, reference_s=30.0), right=outline(60.0, reference_s=30.0))
    assert starts(layout) == [("left", 30.0), ("right", 30.0)]
    assert layout.remarks == ("left.wav and right.wav overlap; their markers lie side by side",)


def test_time_references_that_are_all_zero_say_nothing():
    layout = laid_out(a=outline(10.0, reference_s=0.0), b=outline(10.0, reference_s=0.0))
    assert starts(layout) == [("a", 0.0), ("b", 12.0)]
    assert layout.remarks == ("every time reference is 0, which says nothing; laid one after another",)
    assert starts(laid_out(a=outline(10.0, reference_s=0.0))) == [("a", 0.0)]


def test_a_place_in_the_settings_counts_even_at_zero():
    layout = laid_out(
        a=outline(10.0, reference_s=0.0, source="settings"),
        b=outline(10.0, reference_s=0.0, source="settings"),
    )
    assert starts(layout) == [("a", 0.0), ("b", 0.0)]


def test_the_zero_can_be_the_first_take_s_start():
    layout = laid_out(
        SessionSettings(counts_from="first-take"),
        a=outline(reference_s=72_100.0),
        b=outline(reference_s=72_900.0),
    )
    assert starts(layout) == [("a", 0.0), ("b", 800.0)]
    assert layout.zero_reads_s == 72_100.0
    # 72,100 s are 20 hours and 100 s.
    assert layout.remarks == ("0 is the start of a.wav, where the session's clock reads 20:01:40",)


def test_a_first_take_hours_into_the_session_is_said():
    (remark,) = laid_out(a=outline(reference_s=72_100.0)).remarks
    assert "20.0 hours into the session" in remark
    assert "grid.session_starts_at_s" in remark


# A recorder's clock stamps the time of day: 23:50:00 and, the next day, 00:10:00. A festival's third day.
@pytest.mark.parametrize(("counts_from", "zero_s"), [("session", 0.0), ("auto", 85_800.0)])
def test_a_clock_counts_on_past_midnight_and_for_days(counts_from, zero_s):
    layout = laid_out(
        SessionSettings(counts_from=counts_from),
        late=outline(reference_s=600.0, recorded_at="2026-03-15 00:10:01"),
        early=outline(reference_s=85_800.0, recorded_at="2026-03-14 23:50:02"),
        third=outline(reference_s=43_200.0, recorded_at="2026-03-16 12:00:00"),
    )
    expected = [("early", 85_800.0), ("late", 87_000.0), ("third", 2 * 86_400 + 43_200.0)]
    assert starts(layout) == [(name, start_s - zero_s) for name, start_s in expected]


def test_a_clock_counts_from_the_session_s_zero_where_that_is_set():
    evening = outline(reference_s=72_903.0, recorded_at="2026-03-14 20:15:03", zero_reads_s=72_000.0)
    assert starts(laid_out(a=evening)) == [("a", 903.0)]


def test_a_place_in_a_session_is_the_same_on_every_day():
    # Recorded at 20:00 and, as an overdub, the next day: the references are no time of day.
    layout = laid_out(
        first=outline(reference_s=60.0, recorded_at="2026-03-14 20:00:00"),
        overdub=outline(reference_s=60.0, recorded_at="2026-03-15 20:00:00"),
    )
    assert starts(layout) == [("first", 60.0), ("overdub", 60.0)]


def test_takes_that_failed_or_hold_no_phrases_have_a_section_all_the_same():
    layout = laid_out(a=outline(10.0), b=None, c=outline(10.0, spans=()))
    assert starts(layout) == [("a", 0.0), ("b", 12.0), ("c", 12.0)]
    assert layout.remarks == ("b.wav: could not be heard, marked where it would stand",)
    texts = [text for _, text in markers_by_mido(SessionMarkers().render(layout))]
    assert texts == [
        "01 a",
        "01.01 long dense against-groove",
        "01.02 long dense against-groove",
        "02 b",
        "03 c",
    ]


@given(
    st.lists(
        st.tuples(st.floats(0.1, 5000), st.none() | st.floats(0, 200_000), st.booleans()),
        max_size=8,
    ),
    st.sampled_from(["auto", "session", "first-take"]),
)
def test_every_take_has_a_place_in_order_and_those_without_one_of_their_own_overlap_nothing(takes, zero):
    named = {
        f"t{i}": outline(length, reference_s=reference) if heard else None
        for i, (length, reference, heard) in enumerate(takes)
    }
    layout = laid_out(SessionSettings(counts_from=zero), **named)
    assert sorted(one.take.name for one in layout.takes) == sorted(named)
    assert all(a.start_s <= b.start_s for a, b in zip(layout.takes, layout.takes[1:], strict=False))
    loose = [one for one in layout.takes if one.take.outline and one.take.outline.placement is None]
    for one in loose:
        others = [other for other in layout.takes if other is not one]
        assert all(other.end_s <= one.start_s or one.end_s <= other.start_s for other in others)


@pytest.mark.parametrize(
    ("name", "written"),
    [("bluesInF take2", "bluesInF take2"), ("Ärger – große Nähe", "Arger - grosse Nahe"), ("夜", "take"),
     ("🎷🔥", "take"), ("Søren's\tłódź", "Soren's lodz"), ("  a   b ", "a b"), ("", "take"), ("é", "e")],
)  # fmt: skip
def test_a_take_s_name_in_ascii(name, written):
    assert ascii_name(name) == written


@settings(max_examples=30)
@given(st.lists(st.text(max_size=60), max_size=120))
def test_section_names_are_short_printable_ascii_unique_and_in_order(names):
    texts = list(section_names(lay_out([SessionTake(n, n, None) for n in names], BY_NAME)))
    assert len({text.casefold() for text in texts}) == len(names)
    assert texts == sorted(texts)
    for text in texts:
        assert 1 <= len(text) <= 40 and text == text.strip() and all(" " <= c <= "~" for c in text)


def found_by_all(content: bytes) -> tuple[list[tuple[float, str]], list[tuple[float, float]]]:
    """Return markers and spans, on which all readers agree to the millisecond."""
    markers, spans = by_music21(content)
    for other in (markers_by_mido(content), markers_by_symusic(content)):
        assert sorted(text for _, text in other) == sorted(text for _, text in markers)
        assert sorted(t for t, _ in other) == pytest.approx([t for t, _ in markers], abs=MILLISECOND)
    for others in (spans_by_pretty_midi(content), spans_by_symusic(content)):
        assert others == [pytest.approx(span, abs=MILLISECOND) for span in spans]
    return markers, spans


@pytest.mark.parametrize("midi_format", [0, 1])
def test_a_session_is_read_by_every_reader_where_the_takes_lie(midi_format):
    layout = laid_out(one=outline(reference_s=60.25), two=outline(reference_s=3000.125))
    content = SessionMarkers(midi_format, session_tempo_bpm=97).render(layout)
    markers, spans = found_by_all(content)
    assert [text.partition(" ")[0] for _, text in markers] == ["01", "01.01", "01.02", "02", "02.01", "02.02"]
    expected = [60.25, 61.25, 63.25, 3000.125, 3001.125, 3003.125]
    assert [time for time, _ in markers] == pytest.approx(expected, abs=MILLISECOND)
    assert spans[2] == pytest.approx((3001.125, 3002.125), abs=MILLISECOND)


def test_spans_of_takes_that_sound_at_once_do_not_end_each_other():
    two_mics = laid_out(
        left=outline(spans=((1.0, 4.0),), reference_s=30.0),
        right=outline(spans=((2.0, 3.0),), reference_s=30.0),
    )
    _, spans = found_by_all(SessionMarkers().render(two_mics))
    assert spans == [pytest.approx((31.0, 34.0)), pytest.approx((32.0, 33.0))]


def test_a_session_beyond_a_day_is_written_and_read():
    layout = laid_out(a=outline(reference_s=50 * 3600.0, source="settings"))
    markers = markers_by_symusic(SessionMarkers(session_tempo_bpm=30).render(layout))
    assert [time for time, _ in markers] == pytest.approx([180_000, 180_001, 180_003], abs=MILLISECOND)
    rows = list(csv.reader(io.StringIO(SessionCues(("start",)).render(layout).decode())))
    assert rows[1:3] == [["50:00:00.000"], ["50:00:01.000"]]


SHARED = TempoMap(
    480,
    (TempoChange(0, 500_000), TempoChange(4800, 600_000)),
    (MeterChange(0, 4, 4), MeterChange(7680, 3, 4)),
)


def on_shared(reference_s: float, tempo_map: TempoMap = SHARED) -> Outline:
    grid = grid_of((0.0, 0.5), (1, 2), tempo_map=tempo_map, starts_at_s=reference_s)
    place = Placement(reference_s, 0.0, "time reference")
    return outline_of(
        analysis_of(phrases_at(PHRASES), grid=grid, placement=place, take=take_info(duration_s=9))
    )


def test_a_map_that_all_takes_share_is_the_file_s():
    layout = laid_out(a=on_shared(4.0), b=on_shared(20.0))
    content = SessionMarkers().render(replace(layout, session_map=SHARED if layout.map_print else None))
    assert [(tick, m.tempo) for tick, m in of_type(content, "set_tempo")] == [(0, 500_000), (9600, 600_000)]
    markers, _ = found_by_all(content)
    expected = [4.0, 5.0, 7.0, 20.0, 21.0, 23.0]
    assert [time for time, _ in markers] == pytest.approx(expected, abs=MILLISECOND)


def test_takes_of_different_maps_or_without_places_get_the_session_s_tempo():
    other = TempoMap(480, (TempoChange(0, 400_000),))
    assert laid_out(a=on_shared(4.0), b=on_shared(20.0, other)).map_print is None
    unplaced = replace(on_shared(0.0), placement=None)
    assert laid_out(a=unplaced, b=unplaced).map_print is None
    assert laid_out(a=unplaced).map_print is not None  # alone, it lies at the session's zero
    at_zero = replace(on_shared(0.0), time_reference_s=0.0)  # which says nothing
    assert laid_out(a=at_zero, b=at_zero).map_print is None
    assert laid_out(a=on_shared(4.0), b=outline(reference_s=9.0)).map_print is None


def test_the_cue_list_names_takes_and_phrases_in_the_time_base_of_the_settings():
    layout = laid_out(
        a=outline(reference_s=3690.0, zero_reads_s=3600.0), b=outline(reference_s=3790.0, zero_reads_s=3600.0)
    )
    columns = ("number", "name", "start", "end_s", "start_sample", "take", "leap_share")
    content = SessionCues(columns, time_base="timecode", frame_rate="25").render(layout)
    rows = list(csv.reader(io.StringIO(content.decode())))
    # The session starts at 01:00:00:00; the first take 90 s later.
    assert rows[:3] == [
        ["number", "name", "start", "end_s", "start_sample", "take"],
        ["01", "01 a", "01:01:30:00", "100.0", "4320000", "a.wav"],
        ["01.01", "01.01 long dense against-groove", "01:01:31:00", "92.0", "4368000", "a.wav"],
    ]
    assert rows[4][2:4] == ["01:03:10:00", "200.0"]


def test_bars_in_the_cue_list_are_those_of_the_take_s_grid():
    layout = laid_out(a=on_shared(4.0))
    grid = grid_of([0.5 * i for i in range(13)], [1 + i % 4 for i in range(13)], first_bar=7)
    layout = laid_out(a=outline_of(analysis_of(phrases_at([(2.5, 3.0)]), grid=grid)))
    content = SessionCues(("start", "end", "start_bar"), time_base="bars").render(layout)
    assert list(csv.reader(io.StringIO(content.decode())))[1:] == [["", "", ""], ["8|2|000", "8|3|000", "8"]]


@given(
    st.lists(st.tuples(st.floats(0, 100), st.floats(0.001, 10)), max_size=5), st.none() | st.floats(0, 1e5)
)
def test_an_outline_is_read_back(spans, reference_s):
    labels = Labels(Length.SHORT, Density.SPARSE, Groove.UNMEASURED)
    grid = grid_of([0.5 * i for i in range(13)], [1 + i % 4 for i in range(13)])
    phrases = phrases_at([(a, a + b) for a, b in spans], labels=labels)
    place = None if reference_s is None else Placement(reference_s, 0.0, "settings")
    found = outline_of(analysis_of(phrases, grid=grid, placement=place))
    assert parse_outline(dump_outline(found)) == found


@pytest.mark.parametrize("suffix", SESSION_SUFFIXES)
def test_a_session_s_files_are_no_takes(suffix):
    assert not is_take_name(f"friday{suffix}")


def write_take(path: Path, notes: int = 8) -> None:
    """Write a MIDI take: a phrase of quarters at 120 a minute, a bar's rest, and another."""
    track = mido.MidiTrack()
    for i in range(notes):
        rest = 1920 if i == notes // 2 else 240
        track.append(mido.Message("note_on", note=60 + i % 5, time=rest))
        track.append(mido.Message("note_off", note=60 + i % 5, time=240))
    midi = mido.MidiFile(ticks_per_beat=480)
    midi.tracks.append(track)
    midi.save(path)


def sections_in(path: Path) -> list[str]:
    return [text for _, text in markers_by_mido(path.read_bytes()) if "." not in text.partition(" ")[0]]


def test_run_keeps_a_folder_s_session_up_to_date(takemill, tmp_path):
    gig = tmp_path / "friday"
    gig.mkdir()
    (gig / "takemill.toml").write_text("[session]\nwrite = true\n", encoding="utf-8")
    for name, notes in (("take 1", 8), ("take 2", 10), ("🎷", 12)):
        write_take(gig / f"{name}.mid", notes)
    (gig / "broken.mid").write_bytes(b"MThd")
    out = gig / "markers"
    first = takemill("run", gig)
    assert first.returncode == 1  # one take is broken
    assert "friday.session-markers.mid: 4 takes as one session" in first.stdout
    assert "broken.mid: could not be heard" in first.stdout
    assert sections_in(out / "friday.session-markers.mid") == [
        "01 broken",
        "02 take 1",
        "03 take 2",
        "04 take",
    ]
    assert not [path for path in out.iterdir() if path.name.startswith(".")]

    (gig / "broken.mid").unlink()
    write_take(gig / "take 1b.mid", 14)
    before = (out / "take 1.markers.mid").stat().st_mtime_ns
    second = takemill("run", gig)
    assert second.returncode == 0
    assert sections_in(out / "friday.session-markers.mid") == [
        "01 take 1",
        "02 take 1b",
        "03 take 2",
        "04 take",
    ]
    assert (out / "take 1.markers.mid").stat().st_mtime_ns == before
    rows = list(csv.DictReader(io.StringIO((out / "friday.session-cues.csv").read_text(encoding="utf-8"))))
    assert [row["take"] for row in rows if row["length"] == ""] == [
        "take 1.mid", "take 1b.mid", "take 2.mid", "🎷.mid",
    ]  # fmt: skip

    third = takemill("run", gig)
    assert "as one session" not in third.stdout  # nothing is new


def test_a_session_is_written_only_where_it_is_asked_for(takemill, tmp_path):
    write_take(tmp_path / "a.mid")
    assert takemill("run", tmp_path).returncode == 0
    assert not list((tmp_path / "markers").glob("*session*"))
    assert (tmp_path / "markers" / FILE_NAME).is_file()
    (tmp_path / "takemill.toml").write_text("[session]\nwrite = true\n", encoding="utf-8")
    told = takemill("run", tmp_path)  # the take was heard before: its analysis is read
    assert "1 take as one session" in told.stdout
    assert "heard before" in told.stdout
