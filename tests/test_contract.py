"""The published file: its keys as the design document lists them, read by Python's json."""

import json
import math
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import pytest
from building import analysis_of, grid_of, phrases_at, take_info
from hypothesis import given
from hypothesis import strategies as st

from batch.contract import analysis_schema, dump_analysis, parse_analysis
from batch.errors import BatchError
from batch.model import Note, Placement, Relation, RelationKind, Texture, TextureKind, Variety, Waveform
from batch.tempo import MeterChange, TempoChange, TempoMap
from exporters.analysis_json import AnalysisJson

PATH = Path("solo.analysis.json")

# The contract, "NAME.analysis.json" in the design document.
KEYS = {"schema", "take", "grid", "notes", "phrases", "variety", "warnings", "texture", "placement",
        "waveform", "relatedness", "tension", "harmony"}  # fmt: skip
TAKE = {"file", "duration_s", "sample_rate_hz", "channels", "title", "recorded_at", "time_reference_s",
        "content_hash"}  # fmt: skip
GRID = {"source", "tempo_bpm", "beats_s", "beat_in_bar", "beats_per_bar", "swing_ratio", "confidence"}
NOTE = {"onset_s", "offset_s", "pitch_midi", "loudness_db", "confidence"}
PHRASE = {"start_s", "end_s", "first_note", "last_note", "labels", "evidence", "relation"}
RELATION = {"kind": "varies", "to_phrase": 0, "similarity": 0.75}
EVIDENCE = {"duration_s", "duration_beats", "note_count", "notes_per_beat", "notes_per_s", "articulation",
            "syncopation", "grouping", "off_grid", "register", "leap_share", "borderline"}  # fmt: skip
VARIETY = {"score", "low", "high", "parts", "why_null", "missing"}

SESSION = TempoMap(
    480, (TempoChange(0, 500_000), TempoChange(960, 450_011)), (MeterChange(0, 4, 4), MeterChange(960, 6, 8))
)
FULL = analysis_of(
    phrases_at([(0.25, 1.25), (1.5, 3.5)], relation=Relation(RelationKind.VARIES, 0, 0.75)),
    grid=grid_of([0.0, 0.5, 1.0], [1, 2, 3], tempo_map=SESSION, starts_at_s=12.5),
    take=take_info("Ä – 夜.wav", title='"Solo"\n\x1b'),
    variety=Variety(61.5, 50.0, 70.0, {"length": 55.0, "groove": None}),
    warnings=("no tempo map",),
    texture=Texture(TextureKind.CHORDS, 0.625, 16, 0.9),
    placement=Placement(12.5, 3600.0, "time reference"),
    waveform=Waveform(441, 44_100, 0.5, "AID/"),
)
BARE = analysis_of(())


def test_the_keys_are_those_of_the_contract():
    found = json.loads(dump_analysis(FULL))
    assert found.keys() == KEYS
    assert found["schema"] == "takemill.analysis/1"
    assert found["take"].keys() >= TAKE
    assert found["grid"].keys() >= GRID
    assert found["notes"][0].keys() == NOTE
    assert found["phrases"][0].keys() == PHRASE
    labels = {"length": "long", "density": "dense", "groove": "against-groove"}
    more = {"articulation": "unmeasured", "register": "middle", "interval_size": "unmeasured"}
    assert found["phrases"][0]["labels"] == labels | more
    assert found["phrases"][0]["evidence"].keys() >= EVIDENCE
    assert found["phrases"][0]["relation"] | RELATION == found["phrases"][0]["relation"]
    assert found["variety"].keys() == VARIETY
    assert found["texture"] == {"kind": "chords", "chordal_share": 0.625, "events": 16, "confidence": 0.9}
    assert found["placement"] == {"starts_at_s": 12.5, "zero_reads_s": 3600.0, "source": "time reference"}
    assert found["waveform"] == {"bin_frames": 441, "rate_hz": 44100, "highest": 0.5, "peaks": "AID/"}


def test_what_is_not_known_is_null():
    found = json.loads(dump_analysis(BARE))
    assert found["grid"] is None
    assert found["texture"] is None
    assert found["placement"] is None
    assert found["waveform"] is None
    assert found["variety"]["score"] is None
    assert found["variety"]["why_null"]
    assert found["notes"] == found["phrases"] == found["warnings"] == []


@pytest.mark.parametrize("analysis", [FULL, BARE])
def test_what_is_written_is_read_back(analysis):
    assert parse_analysis(dump_analysis(analysis), PATH) == analysis


@given(
    st.lists(
        st.builds(
            lambda onset, length, pitch, level: Note(onset, onset + length, pitch, level),
            st.floats(0, 1e5),
            st.floats(0.001, 100),
            st.floats(0, 127),
            st.floats(-120, 0),
        ),
        max_size=20,
    )
)
def test_numbers_come_back_to_the_microsecond(notes):
    back = parse_analysis(dump_analysis(replace(BARE, notes=tuple(notes))), PATH)
    for ours, theirs in zip(notes, back.notes, strict=True):
        assert (theirs.onset_s, theirs.offset_s) == pytest.approx(
            (ours.onset_s, ours.offset_s), abs=5.1e-7, rel=0
        )
        assert (theirs.pitch_midi, theirs.loudness_db) == pytest.approx(
            (ours.pitch_midi, ours.loudness_db), abs=5.1e-7, rel=0
        )


def test_a_file_is_ascii_with_a_line_a_note_and_a_line_a_phrase():
    lines = AnalysisJson().render(FULL).decode("ascii").splitlines()
    assert sum(line.startswith('{"onset_s"') for line in lines) == 2
    assert sum(line.startswith('{"start_s"') for line in lines) == 2


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_value_that_is_no_number_is_not_written(value):
    with pytest.raises(ValueError, match="JSON compliant"):
        dump_analysis(replace(BARE, take=replace(BARE.take, duration_s=value)))


@pytest.mark.parametrize("value", [b"NaN", b"Infinity", b"-Infinity"])
def test_a_value_that_is_no_number_is_not_read(value):
    content = dump_analysis(BARE)
    assert content.count(b"7200.0") == 1
    with pytest.raises(BatchError, match="no analysis that can be read"):
        parse_analysis(content.replace(b"7200.0", value), PATH)


@pytest.mark.parametrize("schema", ["takemill.analysis/2", "takemill.analysis/10", "", None])
def test_another_schema_is_refused_whatever_is_in_it(schema):
    with pytest.raises(BatchError, match=r"solo\.analysis\.json: has schema .* this version reads"):
        parse_analysis(json.dumps({"schema": schema, "solos": []}).encode(), PATH)


def test_an_analysis_without_a_schema_is_refused():
    fields = json.loads(dump_analysis(FULL))
    del fields["schema"]
    with pytest.raises(BatchError, match="has schema None"):
        parse_analysis(json.dumps(fields).encode(), PATH)


@pytest.mark.parametrize(
    "content",
    [b"", b"{", b"\xff\xfe", b'{"schema": "takemill.analysis/1"}', dump_analysis(FULL)[:-20]],
)
def test_what_is_no_analysis_is_refused_with_the_way_out(content):
    with pytest.raises(BatchError, match=r"solo\.analysis\.json: is no analysis.*run again"):
        parse_analysis(content, PATH)


@pytest.mark.parametrize("content", [b"[]", b"null", b"3", b'"text"'])
def test_json_that_is_no_object_is_refused(content):
    with pytest.raises(BatchError, match=r"solo\.analysis\.json"):
        parse_analysis(content, PATH)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("notes", [{"onset_s": 1, "offset_s": 1, "pitch_midi": 60, "loudness_db": -9, "confidence": 1}]),
        ("phrases", [{"start_s": 1}]),
        ("take", None),
        ("warnings", "none"),
    ],
)
def test_an_analysis_that_breaks_the_rules_is_refused(key, value):
    fields = json.loads(dump_analysis(FULL)) | {key: value}
    with pytest.raises(BatchError, match="is no analysis"):
        parse_analysis(json.dumps(fields).encode(), PATH)


def test_a_field_of_a_later_version_does_not_matter():
    # "Adding a field is no new schema number."
    fields = json.loads(dump_analysis(FULL))
    fields["mood"] = "blue"
    fields["take"]["microphone"] = "ribbon"
    fields["notes"][0]["vibrato_hz"] = 5.5
    assert parse_analysis(json.dumps(fields).encode(), PATH) == FULL


def resolved(schema: dict, part: dict) -> dict:
    """Follow ``$ref`` and the non-null branch of ``anyOf`` (JSON Schema 2020-12)."""
    part = next((p for p in part.get("anyOf", []) if p.get("type") != "null"), part)
    return schema["$defs"][part["$ref"].rsplit("/", 1)[1]] if "$ref" in part else part


def test_the_json_schema_describes_every_field_that_is_written():
    schema = analysis_schema()

    def compare(part: dict, value: object) -> None:
        part = resolved(schema, part)
        if isinstance(value, dict) and "properties" in part:
            assert set(part["required"]) <= value.keys() == part["properties"].keys()
            for key, entry in value.items():
                compare(part["properties"][key], entry)
        elif isinstance(value, list):
            assert part["type"] == "array"
            for entry in value:
                compare(part["items"], entry)
        elif isinstance(value, str):
            assert part["type"] == "string"
            assert value in part.get("enum", [value])
        elif isinstance(value, bool):
            assert part["type"] == "boolean"
        elif value is not None and not isinstance(value, dict):
            assert part["type"] in {"number", "integer"}

    compare(schema, json.loads(dump_analysis(FULL)))
    assert set(schema["required"]) == {"take", "grid", "notes", "phrases", "variety"}


def test_the_published_schema_is_the_models_own():
    # batch/analysis.schema.json is what readers in other languages validate with. Wording may
    # differ between versions of pydantic, names and types may not.
    published = json.loads(files("batch").joinpath("analysis.schema.json").read_text(encoding="utf-8"))
    current = analysis_schema()
    assert published["properties"].keys() == current["properties"].keys()
    assert {
        name: sorted(d.get("properties", d.get("enum", ()))) for name, d in published["$defs"].items()
    } == {name: sorted(d.get("properties", d.get("enum", ()))) for name, d in current["$defs"].items()}
