"""Timelines of OpenTimelineIO, read by hand as JSON, by its own library and by another, tellers-timeline."""

import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from urllib.parse import unquote, urljoin, urlsplit

import opentimelineio
import pytest
from building import LABELS, analysis_of, phrases_at, take_info
from hypothesis import given
from hypothesis import strategies as st

from batch.entry import Entry, State
from batch.errors import BatchError
from batch.gig import Gigs
from batch.model import Analysis, Groove, Moment, MomentKind, Placement, Tension
from batch.names import MADE_BY
from batch.outline import Outline, outline_of
from batch.session import Layout, Placed, SessionTake, lay_out
from batch.settings import SessionSettings, Settings
from exporters import otio
from exporters.session_timeline import SessionTimeline
from exporters.timeline import Timeline

FIELDS = {
    "Timeline.1": {"global_start_time", "metadata", "name", "tracks"},
    "Stack.1": {"effects", "enabled", "markers", "metadata", "name", "source_range", "children", "color"},
    "Track.1": {
        "effects", "enabled", "kind", "markers", "metadata", "name", "source_range", "children", "color",
    },
    "Gap.1": {"effects", "enabled", "markers", "metadata", "name", "source_range", "color"},
    "Clip.2": {
        "active_media_reference_key", "effects", "enabled", "markers", "media_references", "metadata", "name",
        "source_range", "color",
    },
    "Marker.2": {"color", "comment", "marked_range", "metadata", "name"},
    "ExternalReference.1": {"available_image_bounds", "available_range", "metadata", "name", "target_url"},
    "MissingReference.1": {"available_image_bounds", "available_range", "metadata", "name"},
    "RationalTime.1": {"rate", "value"},
    "TimeRange.1": {"duration", "start_time"},
}  # fmt: skip
"""OpenTimelineIO, "Serialized Data (Fields Only)"; then children ("Timeline Structure"), and an item's colour
since 0.18."""

RATES = (8_000, 22_050, 44_100, 48_000, 96_000, 192_000)
PICOSECOND = Fraction(1, 10**12)
"""By so much at most a double misses the middle between two samples."""
SPANS = ((0.1, 2.3), (3.333333, 5.5))


def take(
    spans=SPANS, *, rate_hz: int | None = 44_100, recording: str | None = "../solo.wav", **more: Any
) -> Analysis:
    info = take_info(
        duration_s=more.pop("duration_s", 12.34567), rate_hz=rate_hz, title=more.pop("title", None)
    )
    return replace(analysis_of(phrases_at(spans), take=replace(info, recording=recording)), **more)


def outline(duration_s: float, *, rate_hz: int | None = 48_000, spans=((1.0, 2.0), (3.0, 4.5))) -> Outline:
    return outline_of(analysis_of(phrases_at(spans), take=take_info(duration_s=duration_s, rate_hz=rate_hz)))


def placed(name: str, start_s: float, heard: Outline | None) -> Placed:
    return Placed(SessionTake(name, f"{name}.wav", heard, f"../{name}.wav"), start_s)


SESSION = Layout(
    (
        placed("a", 100.0, outline(10.123)),
        placed("b", 105.2, outline(10.5, rate_hz=44_100)),
        placed("c", 120.33333, outline(10.77, rate_hz=96_000)),
        placed("d", 131.5, None),
        placed("é", 131.5, outline(5.5, rate_hz=None)),
    ),
    zero_reads_s=3600.0,
)


def exact(time: dict[str, Any]) -> Fraction:
    """Return a RationalTime in seconds."""
    return Fraction(time["value"]) / Fraction(time["rate"])


def span_of(found: dict[str, Any]) -> tuple[Fraction, Fraction]:
    """Return start and end of a TimeRange in seconds."""
    start = exact(found["start_time"])
    return start, start + exact(found["duration"])


def objects(value: Any) -> Iterator[dict[str, Any]]:
    """Yield every object that says of what class it is."""
    if isinstance(value, dict):
        if "OTIO_SCHEMA" in value:
            yield value
        value = [child for key, child in value.items() if key != "metadata"]
    if isinstance(value, list):
        for child in value:
            yield from objects(child)


def clips_of(content: bytes) -> dict[str, tuple[Fraction, dict[str, Any]]]:
    """Return each clip by its name and where it starts: items of a track play one after another."""
    found = {}
    for track in json.loads(content)["tracks"]["children"]:
        at = Fraction(0)
        for item in track["children"]:
            if item["OTIO_SCHEMA"] == "Clip.2":
                found[item["name"]] = at, item
            at += exact(item["source_range"]["duration"])
    return found


def only_clip(content: bytes) -> dict[str, Any]:
    ((start, clip),) = clips_of(content).values()
    assert start == 0
    return clip


def media_of(clip: dict[str, Any]) -> dict[str, Any]:
    return clip["media_references"][clip["active_media_reference_key"]]


@pytest.mark.parametrize(
    "content",
    [Timeline().render(take()), Timeline().render(take(recording=None)), SessionTimeline().render(SESSION)],
)
def test_every_object_is_of_a_documented_class_with_its_documented_fields(content):
    found = list(objects(json.loads(content)))
    assert {one["OTIO_SCHEMA"] for one in found} <= set(FIELDS)
    for one in found:
        assert set(one) - {"OTIO_SCHEMA"} <= FIELDS[one["OTIO_SCHEMA"]]


def test_a_clip_spans_the_recording_and_leads_to_it():
    clip = only_clip(Timeline().render(take(recording="../Ä b#1%.wav")))
    assert clip["name"] == "solo.wav"
    media = media_of(clip)
    assert media["available_range"] == clip["source_range"]
    assert span_of(clip["source_range"]) == (0, Fraction(round(12.34567 * 44_100), 44_100))
    # RFC 3986: the address is relative to the timeline's own.
    place = urlsplit(urljoin("file:///gig/markers/solo.timeline.otio", media["target_url"]))
    assert (unquote(place.path), place.query, place.fragment) == ("/gig/Ä b#1%.wav", "", "")


def test_a_take_whose_file_is_not_known_misses_its_medium():
    assert media_of(only_clip(Timeline().render(take(recording=None))))["OTIO_SCHEMA"] == "MissingReference.1"


spans = st.lists(st.floats(0.0, 7200.0), min_size=2, max_size=12, unique=True).map(
    lambda times: [(a, b) for a, b in pairwise(sorted(times)) if b - a > 0.001]
)


@given(spans=spans, rate_hz=st.sampled_from((*RATES, None)))
def test_phrases_are_right_to_half_a_sample(spans, rate_hz):
    content = Timeline().render(take(spans, rate_hz=rate_hz, duration_s=7200.0))
    half = Fraction(1, 2 * (rate_hz or 48_000)) + PICOSECOND
    for (start_s, end_s), marker in zip(spans, only_clip(content)["markers"], strict=True):
        start, end = span_of(marker["marked_range"])
        assert abs(start - Fraction(start_s)) <= half
        assert abs(end - Fraction(end_s)) <= half


def test_markers_say_labels_evidence_and_relation():
    in_groove = replace(LABELS, groove=Groove.IN_GROOVE)
    first, second = phrases_at(SPANS)
    content = Timeline().render(take(phrases=(first, replace(second, labels=in_groove))))
    against, within = only_clip(content)["markers"]
    assert (against["name"], against["color"]) == ("01 long dense against-groove", "ORANGE")
    assert (within["name"], within["color"]) == ("02 long dense in-groove", "BLUE")
    assert within["comment"] == "long dense in-groove; new"
    told = within["metadata"]["takemill"]
    assert told["labels"]["groove"] == "in-groove"
    assert told["evidence"]["duration_s"] == pytest.approx(5.5 - 3.333333)
    assert told["relation"]["kind"] == "new"


def test_markers_are_called_as_the_settings_ask():
    settings = Settings.model_validate({"markers": {"labels": ["length"]}})
    assert [m["name"] for m in only_clip(Timeline.of(settings).render(take()))["markers"]] == [
        "01 long",
        "02 long",
    ]


def test_moments_are_markers_where_they_are_asked_for():
    peak = Moment(MomentKind.PEAK, 4.0, 5.5, 1, 1)
    tense = take(tension=Tension((), (), (), moments=(peak,)))
    assert len(only_clip(Timeline().render(tense))["markers"]) == 2
    found = only_clip(Timeline(moments=True).render(tense))["markers"][-1]
    assert (found["name"], span_of(found["marked_range"])) == ("peak 02", (4, 4))


@pytest.mark.parametrize("content", [Timeline().render(take()), SessionTimeline().render(SESSION)])
def test_a_timeline_bears_takemill_s_mark_near_its_beginning_and_is_the_same_each_time(content):
    assert MADE_BY.encode() in content[:1024]
    assert content in (Timeline().render(take()), SessionTimeline().render(SESSION))


def test_a_hostile_name_is_text():
    title = 'a"\\\n\x00\u202e\udcff夜'
    content = Timeline().render(take(title=title, recording="../\udcff.wav"))
    assert only_clip(content)["name"] == 'a"\\????夜'
    assert media_of(only_clip(content))["target_url"] == "../%FF.wav"


def test_takes_lie_where_they_lie_in_the_session():
    clips = clips_of(SessionTimeline().render(SESSION))
    assert list(clips) == ["01 a", "03 c", "05 é", "02 b"]
    for one, (start, clip) in zip((SESSION.takes[i] for i in (0, 2, 4, 1)), clips.values(), strict=True):
        rate = clip["source_range"]["duration"]["rate"]
        assert rate == (one.take.outline.sample_rate_hz or 48_000)
        assert abs(start - Fraction(one.start_s)) <= Fraction(1, 2 * int(rate)) + PICOSECOND
        assert media_of(clip)["target_url"] == f"../{one.take.name}.wav".replace("é", "%C3%A9")


def test_phrases_of_a_session_bear_both_numbers_and_their_labels():
    clips = clips_of(SessionTimeline().render(SESSION))
    _, marker = clips["03 c"][1]["markers"]
    assert (marker["name"], marker["comment"]) == (
        "03.02 long dense against-groove",
        "long dense against-groove",
    )
    assert marker["metadata"]["takemill"]["labels"]["length"] == "long"
    assert span_of(marker["marked_range"]) == (3, Fraction(9, 2))


def test_takes_that_sound_at_once_are_on_tracks_of_their_own():
    tracks = json.loads(SessionTimeline().render(SESSION))["tracks"]["children"]
    assert [(track["name"], track["kind"]) for track in tracks] == [
        ("Takes 1", "Audio"),
        ("Takes 2", "Audio"),
    ]
    assert [[item["name"] for item in track["children"] if item["name"]] for track in tracks] == [
        ["01 a", "03 c", "05 é"], ["02 b"],
    ]  # fmt: skip


def test_a_take_that_could_not_be_heard_is_a_marker_at_its_place():
    (marker,) = json.loads(SessionTimeline().render(SESSION))["tracks"]["markers"]
    assert (marker["name"], marker["comment"]) == ("04 d", "could not be heard")
    assert span_of(marker["marked_range"]) == (Fraction(263, 2), Fraction(263, 2))


def test_the_timeline_starts_at_what_the_session_s_clock_reads():
    assert exact(json.loads(SessionTimeline().render(SESSION))["global_start_time"]) == 3600
    none = SessionTimeline().render(replace(SESSION, zero_reads_s=0.0))
    assert json.loads(none)["global_start_time"] is None


lengths = st.tuples(st.floats(0.1, 500.0), st.floats(0.0, 30.0), st.sampled_from((*RATES, None)))


@given(takes=st.lists(lengths, min_size=1, max_size=25))
def test_no_take_of_a_long_session_is_off_by_more_than_half_a_sample(takes):
    at_s, laid = 0.0, []
    for number, (duration_s, silence_s, rate_hz) in enumerate(takes):
        laid.append(placed(f"{number:03}", at_s, outline(duration_s, rate_hz=rate_hz, spans=())))
        at_s += duration_s + silence_s
    starts = {
        name[3:]: start
        for name, (start, _) in clips_of(SessionTimeline().render(Layout(tuple(laid)))).items()
    }
    for one in laid:
        half = Fraction(1, 2 * (one.take.outline.sample_rate_hz or 48_000)) + PICOSECOND
        assert abs(starts[one.take.name] - Fraction(one.start_s)) <= half


def test_takes_back_to_back_share_a_track():
    settings = SessionSettings(gap_s=0.0)
    takes = [SessionTake(f"{n}", f"{n}.wav", outline(10.00001, rate_hz=44_100), "") for n in range(9)]
    tracks = json.loads(SessionTimeline().render(lay_out(takes, settings)))["tracks"]["children"]
    assert len(tracks) == 1


def test_a_session_without_a_take_that_was_heard_is_a_timeline_without_tracks():
    content = SessionTimeline().render(Layout((placed("d", 0.0, None),)))
    assert json.loads(content)["tracks"]["children"] == []
    assert opentimelineio.adapters.read_from_string(content.decode(), "otio_json").duration().value == 0


def test_the_library_reads_takes_and_phrases_where_they_are():
    read = opentimelineio.adapters.read_from_string(SessionTimeline().render(SESSION).decode(), "otio_json")
    starts = {clip.name: clip.range_in_parent().start_time.to_seconds() for clip in read.find_clips()}
    assert starts == pytest.approx({"01 a": 100.0, "02 b": 105.2, "03 c": 120.33333, "05 é": 131.5}, abs=1e-5)
    for clip in read.find_clips():
        at = [
            clip.transformed_time(m.marked_range.start_time, read.tracks).to_seconds() for m in clip.markers
        ]
        assert at == pytest.approx([starts[clip.name] + 1.0, starts[clip.name] + 3.0], abs=1e-9)


def test_another_reader_finds_takes_and_phrases_where_they_are():
    # tellers-timeline reads and edits these files without OpenTimelineIO's own code.
    tellers = pytest.importorskip("tellers_timeline", reason="needs the package tellers-timeline")
    read = tellers.Timeline.parse_json(SessionTimeline().render(SESSION).decode())
    assert (read.get_name(), read.validate()) == ("Session", [])
    found = {marker["name"].split()[0]: marker for marker in read.get_markers()}
    expected = {
        f"{number:02}.{phrase:02}": (one.start_s + start_s, length_s)
        for number, one in enumerate(SESSION.takes, start=1)
        for phrase, (start_s, length_s) in enumerate(((1.0, 1.0), (3.0, 1.5)), start=1)
        if one.take.outline
    }
    for name, (start_s, length_s) in {**expected, "04": (131.5, 0.0)}.items():
        assert found[name]["timeline_start"] == pytest.approx(start_s, abs=0.5 / 44_100)
        assert found[name]["duration"] == pytest.approx(length_s, abs=0.5 / 44_100)
    assert {marker["color"] for marker in found.values()} == {"ORANGE", "BLACK"}


def test_where_the_library_lacks_that_is_said_in_a_line(monkeypatch):
    monkeypatch.setattr(otio, "_is_installed", lambda: False)
    for exporter in (Timeline, SessionTimeline):
        with pytest.raises(BatchError, match=r"needs OpenTimelineIO: pip install 'takemill\[timeline\]'"):
            exporter.of(Settings())


def test_the_library_and_the_writer_of_xml_load_when_a_file_is_written_not_before():
    modules = "import exporters, exporters.timeline, exporters.session_timeline, exporters.playlists, sys"
    asked = f"{modules}; print({{'opentimelineio', 'xml.etree.ElementTree'}} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"


def test_a_session_knows_the_way_to_its_recordings():
    # The folder's catalogue and shelf as far as a session asks them.
    shelf = SimpleNamespace(way_to=lambda path: f"../{path.name}")
    catalogue = SimpleNamespace(outlines=lambda paths: {})
    found = Gigs(catalogue, shelf, lambda settings: ())._takes([Entry(Path("/gig/a.wav"), State.FAILED)])
    assert [one.recording for one in found] == ["../a.wav"]


def test_a_place_in_the_session_moves_no_phrase_of_a_take_s_own_timeline():
    far = take(placement=Placement(500.0, 0.0, "settings"))
    assert only_clip(Timeline().render(far))["markers"] == only_clip(Timeline().render(take()))["markers"]
