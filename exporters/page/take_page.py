"""The listening page of a take: seen over time, chosen phrase by phrase, and heard."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from markupsafe import Markup

from batch.bars import BarCounter
from batch.height import height_share
from batch.inert import inert
from batch.model import (
    Analysis,
    Articulation,
    Density,
    Grid,
    Groove,
    IntervalSize,
    LabelledPhrase,
    Labels,
    Length,
    Note,
    PhraseTension,
    Register,
)
from batch.outline import density_of
from batch.relation_words import relatedness_words
from batch.tension_words import tension_words
from batch.words import count, facts, minute, number
from exporters.links import address
from exporters.page.evidence import evidence_words, label_words
from exporters.page.frame import data, render
from exporters.page.signs import bar, scale
from exporters.pictures import picture_of
from exporters.pictures.shapes import kind_of, summary

_SCRIPTS = (
    "common.js",
    "sound.js",
    "stage.js",
    "player.js",
    "source.js",
    "list.js",
    "take.js",
)
_LABELS: dict[str, type[StrEnum]] = {
    "length": Length,
    "density": Density,
    "groove": Groove,
    "articulation": Articulation,
    "register": Register,
    "interval_size": IntervalSize,
}
_PITCHES = ("C", "C sharp", "D", "E flat", "E", "F", "F sharp", "G", "A flat", "A", "B flat", "B")


@dataclass(frozen=True, slots=True)
class TakePage:
    """``NAME.listen.html``: the take's phrases over its waveform, to be seen, chosen and heard."""

    suffix: str = ".listen.html"

    def render(self, analysis: Analysis) -> bytes:
        """Return HTML in UTF-8 that needs nothing but the recording, which it plays from its own file."""
        take, phrases = analysis.take, analysis.phrases
        recording = None if take.sample_rate_hz is None else address(take.recording or take.file)
        return render(
            "take.html",
            _SCRIPTS,
            vendored=("wavesurfer",),
            title=inert(take.title or take.file),
            facts=inert(facts(analysis)),
            warnings=[inert(warning) for warning in analysis.warnings],
            variety=_variety(analysis),
            story=[inert(line) for line in (*relatedness_words(analysis), *tension_words(analysis))],
            scale=scale,
            bar=bar,
            picture=Markup(picture_of(analysis)),
            drawing=f"{summary(phrase.labels for phrase in phrases)}, over time",
            contour=_contour(analysis.notes),
            density_unit="notes a beat" if analysis.measured_on else "notes a second",
            legend=_legend(phrases),
            borderline=any(phrase.evidence.borderline for phrase in phrases),
            recording=recording,
            recording_words=inert(take.recording or take.file),
            duration=round(take.duration_s, 3),
            filters=_filters(phrases),
            phrases=[_row(index, phrase) for index, phrase in enumerate(phrases)],
            data=data(_data(analysis, recording)),
        )


def _variety(analysis: Analysis) -> dict[str, Any]:
    variety = analysis.variety
    if variety.score is None or variety.low is None or variety.high is None:
        return {"score": None, "why": inert(variety.why_null or "")}
    return {
        "score": number(variety.score),
        "low": number(variety.low),
        "high": number(variety.high),
        "values": (variety.low, variety.score, variety.high),
        "parts": [
            {
                "name": name.replace("_", " "),
                "value": value,
                "words": "unmeasured" if value is None else number(value),
                "never": " or ".join(variety.missing.get(name, ())),
            }
            for name, value in variety.parts.items()
        ],
    }


def _contour(notes: tuple[Note, ...]) -> str:
    if not notes:
        return "no notes"
    low, high = (round(pick(note.pitch_midi for note in notes)) for pick in (min, max))
    return f"{count(len(notes), 'note')} over time, from {_pitch(low)} to {_pitch(high)}"


def _pitch(midi: int) -> str:
    return f"{_PITCHES[midi % 12]} {midi // 12 - 1}"


def _legend(phrases: tuple[LabelledPhrase, ...]) -> list[tuple[str, str]]:
    """Return what the blocks look like that the picture has, and what that says."""
    looks = {
        "in": "in the groove: upright",
        "against": "against it: leaning",
        "none": "groove unmeasured: dashed",
    }
    here = {_groove(phrase.labels) for phrase in phrases}
    return [(kind, words) for kind, words in looks.items() if kind in here]


def _groove(labels: Labels) -> str:
    return kind_of(labels).partition(" ")[0]


def _filters(phrases: tuple[LabelledPhrase, ...]) -> list[tuple[str, list[tuple[str, str]]]]:
    """Return what phrases may be chosen by: labels that tell this take's apart, in the words of a player."""
    words = {"in-groove": "in it", "against-groove": "against it"}
    found: list[tuple[str, list[tuple[str, str]]]] = []
    for name, kind in _LABELS.items():
        here = {getattr(phrase.labels, name) for phrase in phrases}
        if len(here) > 1:
            values = [label.value for label in kind if label in here]
            found.append((name, [(value, words.get(value, value)) for value in values]))
    return found


def _row(index: int, phrase: LabelledPhrase) -> dict[str, Any]:
    return {
        "number": index + 1,
        "at": minute(phrase.start_s),
        "words": label_words(phrase),
        "kind": kind_of(phrase.labels),
    }


def _data(analysis: Analysis, recording: str | None) -> dict[str, Any]:
    """Return what the page's scripts draw and play from."""
    notes, wave, grid = analysis.notes, analysis.waveform, analysis.measured_on
    bars = BarCounter.of(grid) if grid else None
    return {
        "duration": analysis.take.duration_s,
        "recording": recording,
        "wave": None if wave is None else {"bin_s": wave.bin_s, "peaks": wave.peaks},
        "notes": {
            "on": [round(note.onset_s, 4) for note in notes],
            "off": [round(note.offset_s, 4) for note in notes],
            "pitch": [round(note.pitch_midi, 2) for note in notes],
            "level": [round(note.loudness_db, 1) for note in notes],
            "sure": [round(note.confidence, 2) for note in notes],
        },
        "beats": _beats(grid, bars) if grid and bars else None,
        "phrases": [
            _phrase(phrase, bars, tension)
            for phrase, tension in zip(analysis.phrases, _tension(analysis), strict=True)
        ],
    }


def _beats(grid: Grid, bars: BarCounter) -> dict[str, Any]:
    """Return the beats, each first one of a bar with the bar's number."""
    numbers = [bar if beat == 1 else None for bar, beat in zip(bars.bars, grid.beat_in_bar, strict=True)]
    return {"at": [round(beat, 4) for beat in grid.beats_s], "bar": numbers, "perBar": grid.beats_per_bar}


def _tension(analysis: Analysis) -> Sequence[PhraseTension | None]:
    return analysis.tension.phrases if analysis.tension else [None] * len(analysis.phrases)


def _phrase(phrase: LabelledPhrase, bars: BarCounter | None, tension: PhraseTension | None) -> dict[str, Any]:
    labels = phrase.labels
    return {
        "start": phrase.start_s,
        "end": phrase.end_s,
        "height": round(height_share(density_of(phrase), in_beats=bars is not None), 3),
        "dense": labels.density is Density.DENSE,
        "groove": _groove(labels),
        **{f"is_{name}": getattr(labels, name).value for name in _LABELS},
        "words": label_words(phrase),
        "says": evidence_words(phrase, bars, tension),
    }
