"""A ranking of takes as CSV and as JSON, and by what a file with a ranking of ours is known."""

import csv
import io
import json
import re
from collections.abc import Mapping, Sequence

from batch.inert import inert_cell
from batch.names import MADE_BY
from batch.rank import Ranked

_FIELDS = ("title", "recorded_at", "duration_s", "tempo_bpm", "phrases", "score", "low", "high")
_FIRST = ("take", "best_place", "worst_place", "value")

_MARK = MADE_BY.encode()
OURS: Mapping[str, re.Pattern[bytes]] = {
    "csv": re.compile(",".join(_FIRST).encode() + rb"[,\r]"),
    "json": re.compile(rb'\[(\n \{\n  "take": "[^\n]*\n  "best_place": |\]\n)'),
    "xspf": re.compile(rb"<\?xml [^>]*>\s*<playlist [^>]*>\s*<title>[^<]*</title>\s*<annotation>" + _MARK),
    "m3u8": re.compile(rb"#EXTM3U\n# " + _MARK),
}
"""How each format of a ranking begins when takemill wrote it; other files of these names are left alone."""


def render_csv(ranked: Sequence[Ranked]) -> bytes:
    """Return RFC 4180 CSV in UTF-8, a row a take."""
    rows = [_row(take) for take in ranked]
    stream = io.StringIO(newline="")
    columns = list(dict.fromkeys(key for row in rows for key in row)) or list(_FIRST)
    writer = csv.DictWriter(stream, columns, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows({k: inert_cell(v) if isinstance(v, str) else v for k, v in row.items()} for row in rows)
    return stream.getvalue().encode("utf-8", errors="replace")


def render_json(ranked: Sequence[Ranked]) -> bytes:
    """Return a JSON list, an object a take."""
    return json.dumps([_row(take) for take in ranked], indent=1, allow_nan=False).encode("ascii") + b"\n"


def _row(take: Ranked) -> dict[str, object]:
    entry, place = take.entry, take.place
    first = (entry.path.name, place.best, place.worst, place.value)
    row: dict[str, object] = dict(zip(_FIRST, first, strict=True))
    row |= {name: getattr(entry, name) for name in _FIELDS}
    return row | (entry.parts or {}) | {"connectedness": entry.connectedness, "why_null": entry.why_null}
