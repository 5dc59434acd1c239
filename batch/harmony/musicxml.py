"""A chord chart from a MusicXML lead sheet, read by music21, its repeats played out."""

import re
import zipfile
from collections.abc import Iterator
from io import BytesIO
from typing import Any

from batch.harmony.chart import Chart, ChartError, Writer

MOST_UNPACKED_BYTES = 16 << 20
"""Of a compressed file: a lead sheet has a hundredth of it (our choice)."""

MOST_MEASURES = 10_000
MOST_TIMES = 99
"""Of a part, and of a repeat in it (our choice): a few signs could stand for hours of bars."""
_TIMES = re.compile(rb"times\s*=\s*[\"']\s*(\d+)")

_MISSING = "needs music21 to be read", "pip install 'takemill[musicxml]', or write the chords as plain text"
_AGAIN = "export it again, or write the chords as plain text"

_SUFFIXES = {
    "major": "", "minor": "m", "augmented": "aug", "diminished": "dim", "dominant-seventh": "7",
    "major-seventh": "maj7", "minor-major-seventh": "mmaj7", "minor-seventh": "m7",
    "augmented-major-seventh": "maj7#5", "augmented-seventh": "7#5", "half-diminished-seventh": "m7b5",
    "diminished-seventh": "dim7", "seventh-flat-five": "7b5", "major-sixth": "6", "minor-sixth": "m6",
    "major-ninth": "maj9", "dominant-ninth": "9", "minor-major-ninth": "mmaj9", "minor-ninth": "m9",
    "dominant-11th": "11", "major-11th": "maj11", "minor-major-11th": "mmaj11", "minor-11th": "m11",
    "major-13th": "maj13", "dominant-13th": "13", "minor-major-13th": "mmaj13", "minor-13th": "m13",
    "suspended-second": "sus2", "suspended-fourth": "sus4", "suspended-fourth-seventh": "7sus4", "power": "5",
}  # fmt: skip
"""Kinds of chords (MusicXML 4.0, kind-value, as music21 names them) as symbols; those of no symbol lack."""

_SIGNS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}


def parse_musicxml(content: bytes, name: str) -> Chart:
    """Read a chart from MusicXML, compressed or not.

    Its bars are those of the first part that has chord symbols, with repeats and endings played out; a
    pick-up bar is none.

    Raises
    ------
    ChartError
        If it is no MusicXML, has no chord symbols, or music21 is not installed.
    """
    text = _unpacked(content) if content.startswith(b"PK") else content
    _refuse_bombs(text)
    try:
        from music21 import converter, harmony, meter, stream  # noqa: PLC0415  it loads long, and is an extra
    except ImportError as error:
        raise ChartError(*_MISSING) from error
    writer, stated = Writer(), None
    try:
        score = converter.parseData(text, format="musicxml")
        part = _with_chords(score, harmony.ChordSymbol)
        if part is not None:
            stated = _meter(part, meter.TimeSignature)
            for measure in _played(part).getElementsByClass(stream.Measure):
                if measure.number or writer.bars:  # bar 0 is a pick-up
                    writer.place(list(_placed(measure, harmony)))
    except ChartError:
        raise
    except Exception as error:  # what the parser meets may be anything
        raise ChartError("is no MusicXML that can be read", _AGAIN) from error
    if part is None or not writer.bars:
        raise ChartError("has no chord symbols", "put them into it, or write the chords as plain text")
    return Chart(name, tuple(writer.bars), remarks=writer.remarks(name), meter=stated)


def _refuse_bombs(text: bytes) -> None:
    """Refuse what would make a small file a large score; ChartError."""
    plain = text.replace(b"\0", b"")  # UTF-16 has them between letters
    if b"<!ENTITY" in plain:
        raise ChartError("declares entities, which no lead sheet needs", _AGAIN)
    if plain.count(b"<measure") > MOST_MEASURES:
        raise ChartError(f"has more than {MOST_MEASURES:,} measures", "export the lead sheet alone")
    if any(len(found) > len(str(MOST_TIMES)) or int(found) > MOST_TIMES for found in _TIMES.findall(plain)):
        raise ChartError(f"has a repeat of more than {MOST_TIMES} times", _AGAIN)


def _unpacked(content: bytes) -> bytes:
    """Return the score in a compressed file (MusicXML 4.0: the first one outside META-INF)."""
    try:
        with zipfile.ZipFile(BytesIO(content)) as packed:
            inside = (
                entry
                for entry in packed.infolist()
                if entry.filename.lower().endswith((".musicxml", ".xml")) and "META-INF" not in entry.filename
            )
            if (score := next(inside, None)) is None:
                raise ChartError("holds no score", _AGAIN)
            with packed.open(score) as stream:
                unpacked = stream.read(MOST_UNPACKED_BYTES + 1)
    except (zipfile.BadZipFile, OSError, EOFError, NotImplementedError, RuntimeError, ValueError) as error:
        if isinstance(error, ChartError):
            raise
        raise ChartError("cannot be unpacked", _AGAIN) from error
    if len(unpacked) > MOST_UNPACKED_BYTES:
        raise ChartError(f"holds a score of more than {MOST_UNPACKED_BYTES:,} bytes", _AGAIN)
    return unpacked


def _with_chords(score: Any, kind: Any) -> Any:
    return next((part for part in score.parts if part.recurse().getElementsByClass(kind)), None)


def _meter(part: Any, kind: Any) -> tuple[int, int] | None:
    """Return the meter that a part states; None where there is none, or more than one."""
    stated = {(each.numerator, each.denominator) for each in part.recurse().getElementsByClass(kind)}
    return stated.pop() if len(stated) == 1 else None


def _played(part: Any) -> Any:
    """Return a part with its repeats played out; as it is written where they make no sense."""
    from music21 import repeat  # noqa: PLC0415

    try:
        return part.expandRepeats()
    except repeat.ExpanderException:
        return part


def _placed(measure: Any, harmony: Any) -> Iterator[tuple[float, str]]:
    """Yield the chord symbols of a bar, each at its share of it."""
    length = float(measure.barDuration.quarterLength)
    for found in measure.getElementsByClass(harmony.ChordSymbol):
        at = float(found.offset) / length
        if at < 1:
            yield at, "N.C." if isinstance(found, harmony.NoChord) else symbol_of(found)


def symbol_of(found: Any) -> str:
    """Return a chord of music21 as a symbol in plain text; its own words for it where there is none."""
    root, bass = _name(found.root()), _name(found.bass())
    suffix = _SUFFIXES.get(found.chordKind)
    if suffix is None:
        return f"{root}{found.chordKind or '?'}"
    changes = "".join(_change(each) for each in found.getChordStepModifications())
    return f"{root}{suffix}{f'({changes})' if changes else ''}{f'/{bass}' if bass != root else ''}"


def _change(step: Any) -> str:
    sign = _SIGNS.get(round(step.interval.semitones) if step.interval else 0, "?")
    word = {"add": "" if sign else "add", "alter": "", "subtract": "no"}.get(step.modType, "?")
    return f"{word}{sign}{step.degree}"


def _name(pitch: Any) -> str:
    return str(pitch.name).replace("-", "b")
