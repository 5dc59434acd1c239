"""Reads a chord chart from its file; the only opener of charts."""

from pathlib import Path

from batch.charts import MOST_CHART_BYTES, MUSICXML_SUFFIXES
from batch.errors import TakeError
from batch.harmony.chart import Chart, ChartError
from batch.harmony.musicxml import parse_musicxml
from batch.harmony.plain import parse_chart
from batch.regular import TooLargeError, read_regular

_CONTROLS = frozenset("\t\n\r\f\x1a")
"""Control characters that text files have; the last ended files on CP/M."""


def read_chart(path: Path) -> Chart:
    """Return the chart in a file.

    Raises
    ------
    TakeError
        If it cannot be read or is no chart.
    """
    try:
        content = read_regular(path, MOST_CHART_BYTES)
    except TooLargeError as error:
        raise TakeError(path, str(error.strerror), "keep the chords of one tune only in it") from error
    except OSError as error:
        raise TakeError(path, f"cannot be read ({error.strerror})", "check its permissions") from error
    try:
        if path.suffix.lower() in MUSICXML_SUFFIXES:
            return parse_musicxml(content, path.name)
        return parse_chart(_decoded(content), path.name)
    except ChartError as error:
        raise TakeError(path, error.problem, error.remedy) from error


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
