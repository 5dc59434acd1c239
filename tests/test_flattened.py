"""The score falls when one dimension of a solo is flattened, and rises when it is stretched."""

from collections.abc import Iterator
from itertools import islice
from pathlib import Path

import numpy as np
import pytest
from flattening import FLATTENED, STRETCHED, Line, Solo, annotated_solos, apart, variety_of

from batch.variety import DIMENSIONS

CORPUS = Path(__file__).resolve().parents[2] / "shared" / "corpus"
EVERY = 15  # of the annotated solos
NEARLY_ALL = 0.95


def made_up(seed: int) -> tuple[Solo, float]:
    """Return a dozen phrases of eighths and sixteenths that wander, here and there off the beat."""
    rng = np.random.default_rng(seed)
    lines = []
    for _ in range(12):
        steps = rng.choice([0.5, 0.5, 0.5, 0.25, 1.0, 1.5], int(rng.integers(4, 24)))
        onset = np.append(0.0, np.cumsum(steps[:-1])) + rng.choice([0.0, 0.5])
        pitch = 66.0 + rng.integers(-4, 5) + rng.choice([-5, -2, -1, 0, 1, 2, 4], len(steps))
        lines.append(Line(onset, onset + steps * rng.uniform(0.5, 1.0), pitch))
    return apart(lines), float(rng.uniform(90, 220))


SOLOS = [made_up(seed) for seed in range(3)]


@pytest.mark.parametrize("dimension", DIMENSIONS)
@pytest.mark.parametrize("solo", SOLOS, ids=["one", "two", "three"])
def test_a_flattened_dimension_costs_its_part_and_the_score(solo, dimension):
    lines, tempo_bpm = solo
    before, after = variety_of(lines, tempo_bpm), variety_of(FLATTENED[dimension](lines), tempo_bpm)
    assert after.parts[dimension] < before.parts[dimension]
    assert after.score < before.score


@pytest.mark.parametrize("dimension", DIMENSIONS)
@pytest.mark.parametrize("solo", SOLOS, ids=["one", "two", "three"])
def test_a_stretched_dimension_raises_its_part_and_the_score(solo, dimension):
    lines, tempo_bpm = solo
    before, after = variety_of(lines, tempo_bpm), variety_of(STRETCHED[dimension](lines), tempo_bpm)
    assert after.parts[dimension] > before.parts[dimension]
    if dimension != "groove":  # laid on the grid, notes fall together, and the density varies less
        assert after.score > before.score


@pytest.mark.skipif(
    not (CORPUS / "notes.csv.gz").is_file(), reason=f"annotated solos are not there: {CORPUS}"
)
def test_annotated_solos_fall_when_they_are_flattened():
    # Solos of the Weimar Jazz Database (Pfleiderer and others, "Inside the Jazzomat", 2017).
    fell = list(_falls(islice(annotated_solos(CORPUS), 0, None, EVERY)))
    assert np.mean(fell) >= NEARLY_ALL, f"{np.mean(fell):.3f} of {len(fell)}"


def _falls(solos: Iterator[tuple[Solo, float]]) -> Iterator[bool]:
    for lines, tempo_bpm in solos:
        before = variety_of(lines, tempo_bpm)
        for dimension, flatten in FLATTENED.items():
            after = variety_of(flatten(lines), tempo_bpm)
            yield after.parts[dimension] < before.parts[dimension] and after.score < before.score
