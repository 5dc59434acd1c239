"""Fit what chance gives: ``python -m batch.relations.fit CORPUS``.

CORPUS holds ``notes.csv.gz`` (solo, onset_s, duration_s, pitch, phrase). The information of intervals and
ratios is counted over all phrases; the scores by chance are those of phrases of different solos.
"""

import sys
from collections.abc import Iterator
from dataclasses import dataclass, fields
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
from pydantic import TypeAdapter

from batch.relations.alignment import WAYS, scores_of
from batch.relations.lines import Floats, Integers, Lines, measured
from batch.relations.surprise import Chance, Surprise, Way, surprise_of

PAIRS = 400_000
TAIL = 0.01
"""The exponential is fitted to the highest scores, one in a hundred (our choice)."""
SEED = 1
DIGITS = 4
OF_NOTES = tuple(field.name for field in fields(Lines) if field.name not in ("first", "end"))


@dataclass(frozen=True, slots=True)
class Solo:
    """The notes of an annotated solo, and where its phrases begin and end."""

    onset_s: Floats
    offset_s: Floats
    semitone: Integers
    first: Integers
    end: Integers

    def lines(self) -> Iterator[tuple[Integers, Floats]]:
        """Yield pitches and onsets of each phrase."""
        for a, b in zip(self.first, self.end, strict=True):
            yield self.semitone[a:b], self.onset_s[a:b]


def read_solos(corpus: Path) -> list[Solo]:
    """Read the annotated solos."""
    return [
        _solo(table.sort_values("onset_s", kind="stable"))
        for _, table in pd.read_csv(corpus / "notes.csv.gz").groupby("solo")
    ]


def _solo(table: pd.DataFrame) -> Solo:
    onset_s = table.onset_s.to_numpy(float)
    phrase = table.phrase.to_numpy()
    first = np.flatnonzero(np.append(True, phrase[1:] != phrase[:-1]))
    return Solo(
        onset_s,
        onset_s + np.maximum(table.duration_s.to_numpy(float), 1e-3),
        table.pitch.to_numpy(np.int64),
        first,
        np.append(first[1:], len(phrase)),
    )


def all_lines(solos: list[Solo], surprise: Surprise) -> tuple[Lines, Integers]:
    """Return the phrases of all solos, each measured within its own, and the solo that each is of."""
    each = [measured(one.onset_s, one.semitone, one.first, one.end, surprise) for one in solos]
    shift = np.cumsum([0, *(len(one.onset_s) for one in solos)])[:-1]
    lines = Lines(
        first=np.concatenate([one.first + at for one, at in zip(each, shift, strict=True)]),
        end=np.concatenate([one.end + at for one, at in zip(each, shift, strict=True)]),
        **{name: np.concatenate([getattr(one, name) for one in each], axis=-1) for name in OF_NOTES},
    )
    return lines, np.repeat(np.arange(len(solos)), [len(one.first) for one in solos])


def fit(solos: list[Solo], pairs: int = PAIRS) -> Chance:
    """Return what chance gives in these solos."""
    surprise = surprise_of([line for solo in solos for line in solo.lines() if len(line[0]) > 3])  # noqa: PLR2004
    lines, of = all_lines(solos, surprise)
    a, b = np.random.default_rng(SEED).integers(0, len(of), (2, pairs))
    other = of[a] != of[b]
    found = scores_of(lines, a[other], b[other])
    return Chance(
        provenance={
            "corpus": "half of the Weimar Jazz Database (Pfleiderer and others 2017, Inside the Jazzomat), "
            "from the data package jazzodata (MIT licence, Frieler and others 2022)",
            "solos": len(solos),
            "phrases": len(of),
            "pairs": int(other.sum()),
            "made_on": date.today().isoformat(),
        },
        ways=tuple(_way(found[:, way]) for way in range(len(WAYS))),
        surprise=surprise,
    )


def _way(scores: Floats) -> Way:
    """Fit an exponential to the tail: its decay is one over the mean excess (maximum likelihood)."""
    from_score = float(np.quantile(scores, 1 - TAIL))
    decay = 1 / float((scores[scores > from_score] - from_score).mean())
    return Way(round(decay, DIGITS), round(float(np.log(TAIL) + decay * from_score), DIGITS))


if __name__ == "__main__":
    found = fit(read_solos(Path(sys.argv[1])))
    Path(__file__).with_name("chance.json").write_bytes(TypeAdapter(Chance).dump_json(found) + b"\n")
    for name, way in zip(WAYS, found.ways, strict=True):
        print(f"{name}: decay {way.decay}, log rate {way.log_rate}")
