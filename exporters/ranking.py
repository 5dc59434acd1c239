"""A ranking of takes as CSV, as JSON, and as a playlist that plays the most varied take first."""

import csv
import io
import json
from collections.abc import Sequence
from xml.etree import ElementTree

from batch.inert import inert, inert_cell
from batch.rank import Ranked

XSPF = "http://xspf.org/ns/0/"
"""Namespace of XSPF 1, the XML Shareable Playlist Format of xspf.org."""

_FIELDS = ("title", "recorded_at", "duration_s", "tempo_bpm", "phrases", "score", "low", "high")


def render_csv(ranked: Sequence[Ranked]) -> bytes:
    """Return RFC 4180 CSV in UTF-8, a row a take."""
    rows = [_row(take) for take in ranked]
    stream = io.StringIO(newline="")
    columns = list(dict.fromkeys(key for row in rows for key in row)) or ["take"]
    writer = csv.DictWriter(stream, columns, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows({k: inert_cell(v) if isinstance(v, str) else v for k, v in row.items()} for row in rows)
    return stream.getvalue().encode("utf-8", errors="replace")


def render_json(ranked: Sequence[Ranked]) -> bytes:
    """Return a JSON list, an object a take."""
    return json.dumps([_row(take) for take in ranked], indent=1, allow_nan=False).encode("ascii") + b"\n"


def render_xspf(ranked: Sequence[Ranked]) -> bytes:
    """Return an XSPF 1 playlist of the recordings in their order."""
    ElementTree.register_namespace("", XSPF)
    root = ElementTree.Element(_tag("playlist"), version="1")
    tracks = ElementTree.SubElement(root, _tag("trackList"))
    for entry in (take.entry for take in ranked):
        track = ElementTree.SubElement(tracks, _tag("track"))
        ElementTree.SubElement(track, _tag("location")).text = entry.path.as_uri()
        ElementTree.SubElement(track, _tag("title")).text = inert(entry.title or entry.path.name)
        if entry.duration_s is not None:
            ElementTree.SubElement(track, _tag("duration")).text = str(round(entry.duration_s * 1000))
    ElementTree.indent(root)
    return ElementTree.tostring(root, encoding="utf-8", xml_declaration=True) + b"\n"


def _row(take: Ranked) -> dict[str, object]:
    entry = take.entry
    row: dict[str, object] = {
        "take": entry.path.name,
        "best_place": take.place.best,
        "worst_place": take.place.worst,
        "value": take.place.value,
    }
    row |= {name: getattr(entry, name) for name in _FIELDS}
    return row | (entry.parts or {}) | {"connectedness": entry.connectedness, "why_null": entry.why_null}


def _tag(name: str) -> str:
    return f"{{{XSPF}}}{name}"
