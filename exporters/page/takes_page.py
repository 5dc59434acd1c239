"""The listening page of a folder: its takes side by side, to be sorted, found, and opened."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from markupsafe import Markup

from batch.entry import Entry
from batch.inert import inert
from batch.overview import Listed, Overview
from batch.words import clock, count, number
from exporters.links import address
from exporters.page.frame import render
from exporters.page.signs import scale
from exporters.page.take_page import TakePage
from exporters.pictures.shapes import thumbnail

_PARTS = (
    ("length", "length", "phrase length"),
    ("density", "density", "density"),
    ("articulation", "artic.", "articulation"),
    ("groove", "groove", "groove"),
    ("register", "register", "register"),
    ("interval_size", "intervals", "interval size"),
)
_COLUMNS = (
    ("place", "place", "place"),
    ("take", "name", "name"),
    ("variety", "variety", "variety"),
    *_PARTS,
    ("connectedness", "conn.", "connectedness"),
    ("phrases", "phrases", "number of phrases"),
    ("time", "time", "length of the take"),
    ("tempo", "tempo", "tempo"),
    ("date", "recorded", "recorded"),
)
"""What takes are sorted by: its key, the head of its column, and what it is called where it stands alone."""
_FILES = {
    ".markers.mid": "markers",
    ".cues.csv": "cues",
    ".notes.mid": "notes",
    ".phrases.svg": "picture",
    ".analysis.json": "analysis",
}
_PICTURE = (240, 40)
"""Of a take in the table, in pixels."""
_MOST_WARNED = 120
"""Characters of a take's first warning in the table; its page has all (our choice)."""


@dataclass(frozen=True, slots=True)
class TakesPage:
    """``listen.html``: all takes side by side, most varied first."""

    file_name: str = "listen.html"

    def render(self, overview: Overview) -> bytes:
        """Return HTML in UTF-8 that leads to the takes' own pages."""
        return render(
            "takes.html",
            ("takes.js",),
            title=inert(overview.title),
            tally=count(len(overview.takes) + overview.more, "take"),
            more=overview.more,
            columns=[
                {"key": key, "head": head, "words": words, "left": key == "take"}
                for key, head, words in _COLUMNS
            ],
            takes=[_row(order, take) for order, take in enumerate(overview.takes)],
            unheard=[
                {"file": inert(entry.path.name), "reason": inert(entry.reason or "")}
                for entry in overview.unheard
            ],
        )


def _row(order: int, take: Listed) -> dict[str, Any]:
    entry, parts = take.entry, take.entry.parts or {}
    title = inert(entry.title or entry.path.name)
    date = _date(entry)
    return {
        "values": {
            "place": order,
            "take": title.casefold(),
            "text": f"{title} {inert(entry.path.name)}".lower(),
            "variety": entry.score,
            "phrases": entry.phrases,
            "time": entry.duration_s,
            "tempo": entry.tempo_bpm,
            "date": date or None,
            **{key: parts.get(key) for key, _, _ in _PARTS},
            "connectedness": entry.connectedness,
        },
        "place": str(take.place),
        "title": title,
        "file": inert(entry.path.name),
        "page": _page(take),
        "remark": _remark(entry),
        "picture": Markup(thumbnail(take.outline, *_PICTURE)) if take.outline else "",
        "score": number(entry.score),
        "scale": "" if entry.score is None else scale(entry.low or 0.0, entry.score, entry.high or 0.0),
        "range": "" if entry.low is None else f"{number(entry.low)} to {number(entry.high)}",
        "parts": [
            *((head, number(parts.get(key))) for key, head, _ in _PARTS),
            ("conn.", number(entry.connectedness)),
        ],
        "phrases": entry.phrases or 0,
        "time": clock(entry.duration_s or 0.0),
        "tempo": number(entry.tempo_bpm),
        "date": date or "-",
        "files": [*_files(take), ("recording", address(take.recording))],
    }


def _page(take: Listed) -> str | None:
    name = f"{take.entry.name}{TakePage().suffix}"
    return address(name) if name in take.files else None


def _files(take: Listed) -> Iterable[tuple[str, str]]:
    """Yield what each of a take's other files is, and where."""
    for suffix, words in _FILES.items():
        name = f"{take.entry.name}{suffix}"
        if name in take.files:
            yield words, address(name)


def _remark(entry: Entry) -> str:
    """Return the first thing to know of a take; where nothing is wrong with one that has no score, why not.

    What would give takes a beat is said on their own pages: most of a folder lack it together.
    """
    first = next(iter(entry.warnings), "").partition(": give ")[0]
    said = f"no score: {entry.why_null}" if entry.why_null and entry.phrases else first
    return inert(said if len(said) <= _MOST_WARNED else f"{said[:_MOST_WARNED].rstrip()}…")


def _date(entry: Entry) -> str:
    """Return the day a take was recorded: as it says itself, else that of its file."""
    if entry.recorded_at:
        return inert(entry.recorded_at)[:10]
    if entry.stamp is None:
        return ""
    try:
        return datetime.fromtimestamp(entry.stamp.mtime_ns / 1e9, tz=UTC).astimezone().strftime("%Y-%m-%d")
    except (OverflowError, ValueError, OSError):  # a file system may state any time
        return ""
