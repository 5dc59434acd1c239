"""Beats of companions: clicks of every kind, and backings that a sampled band plays."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

import mir_eval
import numpy as np
from numpy.typing import NDArray

from batch.beats.companion import track_companion
from batch.beats.pulse import Pulse
from batch.hearing.training.noise import RATE_HZ

from ..beats.clicks import KINDS, drawn
from .making.backings import Feel, backing_made, backings
from .making.takes import Samples, Store
from .tables import Cell, Table

DRAWS = 12  # of each kind of click
NEAR_S = 0.07  # mir_eval's window: beats this near are the same
SURE, RIGHT = 0.8, 0.9  # confidence from which a pulse should be right, and the F that is
COLUMNS = (
    "files", "beat F", "downbeat F", "error ms: mean", "error ms: 95 %", "confidence", "sure: share",
    "sure: right",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Result:
    """Scores of one companion; ``errors_s`` of the beats that were found."""

    beat_f: float
    downbeat_f: float
    errors_s: NDArray[np.float64]
    confidence: float


def companion_tables(store: Store, only: str, *, sampled: bool) -> Iterator[Table]:
    """Yield a row a kind of click, then rows of backings by feel and by who plays, where there is a bank."""
    yield clicks_table(only)
    if sampled:
        yield backings_table(store, only)


def clicks_table(only: str) -> Table:
    """Return a row a kind of click."""
    rows = [(kind, *cells([click_result(kind, at) for at in range(DRAWS)])) for kind in KINDS if only in kind]
    remark = (
        f"{DRAWS} clicks a kind, 40 to 260 a minute, 2 to 7 beats a bar; error: of beats within 70 ms;"
        f" sure: confidence {SURE} and more, and of those the share with beat F {RIGHT} and more."
    )
    return Table("companions: clicks", ("kind", *COLUMNS), tuple(rows), (remark,))


def click_result(kind: str, at: int) -> Result:
    """Return the scores of one draw of a kind of click."""
    one = drawn(kind, at)
    click = one.click
    pulse = track_companion([click.samples], click.rate_hz, meter=one.meter, tempo_bpm=one.tempo_bpm)
    return result_of(click.beats_s, click.downbeats_s, pulse)


def backings_table(store: Store, only: str) -> Table:
    """Return rows of feels, of line-ups, of all with more or less stated, and of librosa's tracker."""
    groups: dict[str, list[Result]] = {}
    for feel, tempo_bpm, lineup in backings():
        name = f"backing {feel.name} {tempo_bpm:g} {lineup}"
        if only not in name:
            continue
        samples, beats = store.kept(name, partial(backing_made, feel, tempo_bpm, lineup))
        for told, result in results_of(samples, beats, feel, tempo_bpm):
            groups.setdefault(f"all, {told}", []).append(result)
            if told == "meter stated":
                groups.setdefault(f"feel: {feel.name}", []).append(result)
                groups.setdefault(f"who plays: {lineup}", []).append(result)
    rows = [(name, *cells(groups[name])) for name in sorted(groups)]
    return Table("companions: backings", ("which", *COLUMNS), tuple(rows))


def results_of(
    samples: Samples, beats: NDArray[np.float64], feel: Feel, tempo_bpm: float
) -> Iterator[tuple[str, Result]]:
    """Yield what was stated and the scores then; the last are those of librosa's tracker."""
    firsts = beats[beats[:, 1] == 1, 0]
    for told, meter, tempo in (
        ("meter stated", feel.meter, None),
        ("nothing stated", None, None),
        ("meter and tempo stated", feel.meter, tempo_bpm),
    ):
        yield (
            told,
            result_of(beats[:, 0], firsts, track_companion([samples], RATE_HZ, meter=meter, tempo_bpm=tempo)),
        )
    for told, tempo in (("librosa", None), ("librosa, tempo stated", tempo_bpm)):
        yield told, result_of(beats[:, 0], firsts, by_librosa(samples, tempo))


def by_librosa(samples: Samples, tempo_bpm: float | None) -> Pulse:
    """Return what librosa's beat tracker finds; its confidence and bars mean nothing."""
    import librosa

    _, found = librosa.beat.beat_track(y=samples, sr=RATE_HZ, units="time", bpm=tempo_bpm)
    beats_s = found if len(found) > 1 else np.array([0.0, 1.0])
    return Pulse(tuple(beats_s.tolist()), tuple([1] * len(beats_s)), 1, 0.0)


def result_of(beats_s: NDArray[np.float64], firsts_s: NDArray[np.float64], pulse: Pulse | None) -> Result:
    """Return the scores of ``pulse`` against true beats and bars' firsts."""
    if pulse is None:
        return Result(0.0, 0.0, np.empty(0), 0.0)
    found_s = np.array(pulse.beats_s)
    found_firsts_s = found_s[np.array(pulse.beat_in_bar) == 1]
    off_s = np.abs(found_s[:, None] - beats_s).min(axis=1)
    return Result(
        f_of(beats_s, found_s), f_of(firsts_s, found_firsts_s), off_s[off_s < NEAR_S], pulse.confidence
    )


def f_of(true_s: NDArray[np.float64], found_s: NDArray[np.float64]) -> float:
    """Return mir_eval's F of beats, the first five seconds left out."""
    trim: Callable[[NDArray[np.float64]], NDArray[np.float64]] = mir_eval.beat.trim_beats
    return float(mir_eval.beat.f_measure(trim(true_s), trim(found_s)))


def cells(results: Sequence[Result]) -> tuple[Cell, ...]:
    """Return the means over ``results``."""
    off_ms = 1000.0 * np.concatenate([r.errors_s for r in results])
    sure = [r.beat_f >= RIGHT for r in results if r.confidence >= SURE]
    return (
        len(results),
        mean(r.beat_f for r in results),
        mean(r.downbeat_f for r in results),
        mean(off_ms),
        float(np.percentile(off_ms, 95)) if len(off_ms) else None,
        mean(r.confidence for r in results),
        len(sure) / len(results),
        mean(sure),
    )


def mean(values: Iterable[float]) -> float | None:
    """Return the mean, None of nothing."""
    listed = list(values)
    return float(np.mean(listed)) if listed else None
