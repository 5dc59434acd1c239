"""The compiled passes against dense matrices written out from the definition of the model."""

import numpy as np
import pytest

from batch.beats.alone.pointer import PLACE_UNREST, RESTART, TEMPO_UNREST, Heard, best_path, smoothed

PERIODS, PLACES = 3, 8


def heard(seed: int, events: int = 6) -> Heard:
    rng = np.random.default_rng(seed)
    emission = rng.uniform(0.1, 3.0, (events, PERIODS, PLACES)).astype(np.float32)
    return Heard(
        np.cumsum(rng.uniform(0.05, 0.4, events)), 0.5 * np.exp(0.1 * np.arange(PERIODS)), emission, 0.1
    )


def moves(dt: float, period_s: np.ndarray, *, rounded: bool) -> np.ndarray:
    """Return the chance of each state after each state, without a new start, by definition."""
    chance = np.zeros((PERIODS, PLACES, PERIODS, PLACES))
    change, slip = TEMPO_UNREST * dt, PLACE_UNREST * dt
    for p in range(PERIODS):
        for step, share in ((-1, change / 2), (0, 1 - change), (1, change / 2)):
            to = p + step if 0 <= p + step < PERIODS else p
            if rounded and to == p and step:
                continue
            ahead = dt / period_s[to] * PLACES
            whole = int(np.floor(ahead + 0.5)) if rounded else int(np.floor(ahead))
            part = 0.0 if rounded else ahead - whole
            for k in range(PLACES):
                for way, slipped in ((-1, slip / 2), (0, 1 - slip), (1, slip / 2)):
                    chance[p, k, to, (k + whole + way) % PLACES] += share * slipped * (1 - part)
                    chance[p, k, to, (k + whole + way + 1) % PLACES] += share * slipped * part
    return chance.reshape(PERIODS * PLACES, PERIODS * PLACES)


@pytest.mark.parametrize("seed", range(3))
def test_odds_given_all_events_equal_those_of_dense_matrices(seed):
    given = heard(seed)
    even = np.full((PERIODS, PLACES), 1 / (PERIODS * PLACES), np.float32)
    n = len(given.when_s)
    said = given.emission.reshape(n, -1).astype(float)
    matrices = []
    for dt in np.diff(given.when_s):
        fresh = RESTART * dt
        matrices.append((1 - fresh) * moves(dt, given.period_s, rounded=False) + fresh / (PERIODS * PLACES))
    before = [even.reshape(-1) * said[0]]
    for t, matrix in enumerate(matrices, start=1):
        before.append(before[-1] @ matrix * said[t])
    after = [np.ones(PERIODS * PLACES)]
    for t in range(n - 2, -1, -1):
        after.insert(0, matrices[t] @ (said[t + 1] * after[0]))
    expected = np.array(before) * np.array(after)
    expected /= expected.sum(axis=1, keepdims=True)
    odds, evidence = smoothed(given, even, even)
    assert odds.reshape(n, -1) == pytest.approx(expected, rel=2e-3, abs=1e-6)
    assert evidence == pytest.approx(np.log(before[-1].sum()), abs=1e-3)


@pytest.mark.parametrize("seed", range(3))
def test_the_best_path_has_the_score_that_dense_search_finds(seed):
    given = heard(seed)
    even = np.full((PERIODS, PLACES), 1 / (PERIODS * PLACES), np.float32)
    said = np.log(given.emission.reshape(len(given.when_s), -1).astype(float))
    start = -np.log(PERIODS * PLACES)
    score = start + said[0]
    matrices = []
    for dt in np.diff(given.when_s):
        with np.errstate(divide="ignore"):
            matrices.append(np.log(moves(dt, given.period_s, rounded=True)))
    for t, matrix in enumerate(matrices, start=1):
        score = (score[:, None] + matrix).max(axis=0) + said[t]
    path = best_path(given, even, even)
    states = path[:, 0] * PLACES + path[:, 1]
    reached = start + said[0, states[0]]
    for t, matrix in enumerate(matrices, start=1):
        reached += matrix[states[t - 1], states[t]] + said[t, states[t]]
    assert reached == pytest.approx(score.max(), abs=1e-3)


def test_periods_that_are_no_neighbours_do_not_mix():
    apart = Heard(np.array([0.0, 0.3, 0.6]), np.array([0.4, 0.8]), np.ones((3, 2, PLACES), np.float32), 0.05)
    first = np.zeros((2, PLACES), np.float32)
    first[0, 0] = 1
    anew = np.zeros((2, PLACES), np.float32)
    anew[0] = 1 / PLACES
    odds, _ = smoothed(apart, first, anew)
    assert odds[:, 1].sum() == 0
