"""What takes are on a timeline of OpenTimelineIO: clips that bear their phrases as markers.

The classes and their fields are those of OpenTimelineIO's "Serialized Data" documentation; the library writes
them. It is loaded when a timeline is written, for it is an extra and takes a while.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from importlib.util import find_spec
from types import ModuleType
from typing import Any

from batch.errors import BatchError
from batch.inert import inert
from batch.model import Groove, Labels
from batch.names import MADE_BY
from exporters.base import UNSAID
from exporters.links import address

MIDI_RATE_HZ = 48_000
"""Rate of a MIDI take's times, which has no sample rate of its own: that of most recordings (our choice)."""

COLOURS = {Groove.IN_GROOVE: "BLUE", Groove.AGAINST_GROOVE: "ORANGE", Groove.UNMEASURED: "WHITE"}
"""Of a phrase, the groove's again; blue and orange are told apart by all eyes (Okabe & Ito 2008, "Color
Universal Design"; from memory)."""
MOMENT_COLOUR = "PURPLE"
UNHEARD_COLOUR = "BLACK"


def see_that_it_is_installed() -> None:
    """See that timelines can be written.

    Raises
    ------
    BatchError
        If the library is not installed.
    """
    if not _is_installed():
        raise BatchError("--export timeline needs OpenTimelineIO: pip install 'takemill[timeline]'")


@dataclass(frozen=True, slots=True)
class Scale:
    """Whole samples of a take: both ends of every range are right to half of one."""

    rate_hz: int

    @classmethod
    def of(cls, sample_rate_hz: int | None) -> "Scale":
        """Count a recording's own samples."""
        return cls(sample_rate_hz or MIDI_RATE_HZ)

    def time(self, samples: int) -> Any:
        """Return so many samples as a RationalTime."""
        return library().opentime.RationalTime(samples, self.rate_hz)

    def span(self, start_s: float, end_s: float) -> Any:
        """Return a TimeRange from one time to another."""
        start, end = round(start_s * self.rate_hz), round(end_s * self.rate_hz)
        return library().opentime.TimeRange(self.time(start), self.time(end - start))


@dataclass(frozen=True, slots=True)
class Mark:
    """A marker from ``start_s`` to ``end_s`` of a take or a timeline."""

    start_s: float
    end_s: float
    name: str
    colour: str
    comment: str = ""
    told: Mapping[str, Any] | None = None

    def on(self, scale: Scale) -> Any:
        """Return it as a Marker."""
        return library().schema.Marker(
            name=self.name,
            marked_range=scale.span(self.start_s, self.end_s),
            color=self.colour,
            metadata=_metadata(self.told),
            comment=self.comment,
        )


def clip(name: str, recording: str | None, duration_s: float, scale: Scale, marks: Iterable[Mark]) -> Any:
    """Return a take as a Clip with its markers; ``recording`` is the way to its file, with slashes."""
    otio, whole = library(), scale.span(0.0, duration_s)
    if recording:
        media = otio.schema.ExternalReference(target_url=address(recording), available_range=whole)
    else:
        media = otio.schema.MissingReference(available_range=whole)
    made = otio.schema.Clip(name=inert(name), media_reference=media, source_range=whole)
    made.markers.extend([mark.on(scale) for mark in marks])
    return made


def track(name: str, children: Iterable[Any]) -> Any:
    """Return clips and gaps as an audio Track."""
    schema = library().schema
    made = schema.Track(name=name, kind=schema.TrackKind.Audio)
    made.extend(list(children))
    return made


def timeline(
    name: str,
    tracks: Iterable[Any],
    told: Mapping[str, Any],
    marks: Iterable[Any] = (),
    starts_at: Any = None,
) -> bytes:
    """Return a Timeline as JSON, takemill's mark near its beginning."""
    made = library().schema.Timeline(
        name=inert(name), global_start_time=starts_at, metadata=_metadata({"made_by": MADE_BY, **told})
    )
    made.tracks.markers.extend(list(marks))
    made.tracks.extend(list(tracks))
    content: str = made.to_json_string(indent=1)
    return content.encode() + b"\n"


def gap(samples: int, scale: Scale) -> Any:
    """Return so many samples of nothing as a Gap."""
    return library().schema.Gap(duration=scale.time(samples))


def label_words(labels: Labels) -> str:
    """Return all labels of a phrase that say something."""
    words = (labels.length, labels.density, labels.groove, labels.articulation, labels.register)
    return " ".join(word.value for word in (*words, labels.interval_size) if word not in UNSAID)


def library() -> ModuleType:
    """Return OpenTimelineIO."""
    return import_module("opentimelineio")


@cache
def _is_installed() -> bool:
    return find_spec("opentimelineio") is not None


def _metadata(told: Mapping[str, Any] | None) -> dict[str, Any]:
    """Return what takemill tells under its own name, in the types that JSON has."""
    return {"takemill": json.loads(json.dumps(told))} if told else {}
