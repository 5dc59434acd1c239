"""Reads a chord chart from its file; the only opener of charts. No file is an error here."""

from pathlib import Path

from batch.charts import MOST_CHART_BYTES, MUSICXML_SUFFIXES
from batch.harmony.chart import Chart, ChartError, NoChart
from batch.harmony.musicxml import parse_musicxml
from batch.harmony.plain import parse_chart
from batch.regular import TooLargeError, read_regular

_CONTROLS = frozenset("\t\n\r\f\x1a")
"""Control characters that text files have; the last ended files on CP/M."""


def read_chart(path: Path) -> Chart | NoChart:
    """Return the chart in a file, or what is wrong with it."""
    try:
        content = read_regular(path, MOST_CHART_BYTES)
    except TooLargeError as error:
        return NoChart(path.name, str(error.strerror), "keep the chords of one tune only in it")
    except OSError as error:
        remedy = "check its permissions" if isinstance(error, PermissionError) else "copy it there again"
        return NoChart(path.name, f"cannot be read ({error.strerror})", remedy)
    try:
        if path.suffix.lower() in MUSICXML_SUFFIXES:
            return parse_musicxml(content, path.name)
        return parse_chart(_decoded(content), path.name)
    except ChartError as error:
        return NoChart(path.name, error.problem, error.remedy)


def _decoded(content: bytes) -> str:
    """Return text in UTF-8, in UTF-16 with its mark, or in the code page of western Windows."""
    coding = "utf-16" if content.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
    for tried in (coding, "cp1252"):
        try:
            text = content.decode(tried)
        except UnicodeDecodeError:
            continue
        if all(sign >= " " or sign in _CONTROLS for sign in text):
            return text
    raise ChartError("is no text", "save it as plain text in UTF-8")
