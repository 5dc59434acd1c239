"""Lead sheets that music21 writes, read back; files that would be large, refused."""

import io
import sys
import time
import zipfile

import pytest
from music21 import bar, harmony, metadata, meter, note, stream
from music21.musicxml.m21ToXml import GeneralObjectExporter

from batch.harmony.chart import ChartError
from batch.harmony.musicxml import MOST_UNPACKED_BYTES, parse_musicxml
from batch.harmony.symbols import read_chord

SECONDS = 20


def lead_sheet(*bars: list[tuple[float, str]], pick_up: bool = False) -> stream.Part:
    """Return a part in 4/4 of these chords, each at its quarter of its bar."""
    part = stream.Part()
    if pick_up:
        part.append(stream.Measure([meter.TimeSignature("4/4"), note.Note("G4")], number=0, paddingLeft=3.0))
    for number, chords in enumerate(bars, start=1):
        measure = stream.Measure(number=number)
        if number == 1 and not pick_up:
            measure.insert(0, meter.TimeSignature("4/4"))
        for at, symbol in chords:
            chord = harmony.NoChord() if symbol == "N.C." else harmony.ChordSymbol(symbol)
            measure.insert(at, chord)
        measure.insert(0, note.Rest(quarterLength=4))
        part.append(measure)
    return part


def xml_of(part: stream.Part) -> bytes:
    score = stream.Score([part])
    score.metadata = metadata.Metadata(title="x")
    return GeneralObjectExporter(score).parse()


def packed(content: bytes, name: str = "score.musicxml") -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as file:
        container = f'<container><rootfiles><rootfile full-path="{name}"/></rootfiles></container>'
        file.writestr("META-INF/container.xml", container)
        file.writestr(name, content)
    return held.getvalue()


def told(content: bytes) -> list[list[tuple[float, str | None]]]:
    chart = parse_musicxml(content, "tune.musicxml")
    return [[(c.at, c.chord.symbol if c.chord else None) for c in each] for each in chart.bars]


SHEET = lead_sheet([(0, "Dm7")], [(0, "G7"), (2, "D-7")], [(0, "CM7")], [], [(0, "N.C."), (3, "F#m7b5")])
BARS = [
    [(0.0, "Dm7")],
    [(0.0, "G7"), (0.5, "Db7")],
    [(0.0, "Cmaj7")],
    [(0.0, "Cmaj7")],
    [(0.0, None), (0.75, "F#m7(b5)")],
]


@pytest.mark.parametrize("wrap", [lambda content: content, packed], ids=["plain", "compressed"])
def test_the_chords_of_a_lead_sheet_stand_in_their_bars(wrap):
    assert told(wrap(xml_of(SHEET))) == BARS


@pytest.mark.parametrize(
    "symbol",
    ["C", "Cm", "C+", "Cdim", "C7", "CM7", "CmM7", "Cm7", "C7+", "Cm7b5", "Cdim7", "C6", "Cm6", "C9", "CM9",
     "Cm9", "C11", "Cm11", "C13", "Csus4", "Csus2", "C7sus4", "C7 add b9", "C7 add #11", "Cm7/B-"],
)  # fmt: skip
def test_chords_have_the_pitches_that_music21_reads(symbol):
    chord = read_chord(told(xml_of(lead_sheet([(0, symbol)])))[0][0][1])
    pitches = {(chord.root + at) % 12 for at, _ in (*chord.tones, *chord.tensions)}
    expected = {pitch.pitchClass for pitch in harmony.ChordSymbol(symbol).pitches}
    # A thirteenth goes without its eleventh here: handbooks leave it out over a major third.
    assert pitches == (expected - {5} if symbol == "C13" else expected)


def test_repeats_and_endings_are_played_out():
    part = lead_sheet([(0, "C")], [(0, "F")], [(0, "G")])
    measures = list(part.getElementsByClass(stream.Measure))
    measures[0].leftBarline = bar.Repeat(direction="start")
    measures[1].rightBarline = bar.Repeat(direction="end")
    assert [each[0][1] for each in told(xml_of(part))] == ["C", "F", "C", "F", "G"]


def test_a_pick_up_is_no_bar():
    assert told(xml_of(lead_sheet([(0, "C")], [(0, "F")], pick_up=True))) == [[(0.0, "C")], [(0.0, "F")]]


def test_a_lead_sheet_states_its_meter_if_it_has_one():
    assert parse_musicxml(xml_of(SHEET), "tune.musicxml").meter == (4, 4)
    changing = lead_sheet([(0, "C")], [(0, "F")])
    changing.getElementsByClass(stream.Measure)[1].insert(0, meter.TimeSignature("3/4"))
    assert parse_musicxml(xml_of(changing), "tune.musicxml").meter is None


BOMB = b'<?xml version="1.0"?><!DOCTYPE s [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><s>&b;</s>'
LONG = xml_of(SHEET).replace(b"</measure>", b"</measure><measure number='9'/>" * 3_000)


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        (b"", "is no MusicXML"),
        (b"\x00\x01\x02", "is no MusicXML"),
        (b"<html></html>", "no MusicXML|no chord symbols"),
        (xml_of(SHEET)[:-300], "is no MusicXML"),
        (xml_of(lead_sheet([], [])), "has no chord symbols"),
        (BOMB, "declares entities"),
        (BOMB.decode().encode("utf-16"), "declares entities"),
        (b"PK\x03\x04 no zip", "cannot be unpacked"),
        (packed(xml_of(SHEET))[:-40], "cannot be unpacked"),
        (packed(b"", "score.txt"), "holds no score"),
        (packed(b" " * (MOST_UNPACKED_BYTES + 1)), "holds a score of more than"),
        (LONG, "more than 10,000 measures"),
        (
            xml_of(SHEET).replace(b"</measure>", b'<barline><repeat times="1000000"/></barline></measure>'),
            "times",
        ),
    ],
)
def test_what_is_no_lead_sheet_is_refused_in_time(content, problem):
    began = time.monotonic()
    with pytest.raises(ChartError, match=problem):
        parse_musicxml(content, "tune.musicxml")
    assert time.monotonic() - began < SECONDS


def test_without_the_library_the_way_to_it_is_told(monkeypatch):
    content = xml_of(SHEET)
    monkeypatch.setitem(sys.modules, "music21", None)
    with pytest.raises(ChartError, match=r"pip install 'takemill\[musicxml\]'"):
        parse_musicxml(content, "tune.musicxml")
