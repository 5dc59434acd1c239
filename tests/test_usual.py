"""How likely it is that takes leave something out: against scipy's distributions and a simulation."""

import numpy as np
import pytest
from scipy.stats import betabinom, binom

from batch.trend.fit import beta_binomial
from batch.trend.tally import LABELS
from batch.trend.usual import Usual, usual_shares


@pytest.mark.parametrize(("share", "clustering"), [(0.07, 0.09), (0.4, 0.36), (0.85, 0.1)])
@pytest.mark.parametrize("count", [0, 1, 5, 30])
def test_one_take_is_beta_binomial(share, clustering, count):
    # Clustering is the intraclass correlation 1 / (a + b + 1) of a beta-binomial (Skellam 1948).
    a, b = share * (1 / clustering - 1), (1 - share) * (1 / clustering - 1)
    expected = betabinom.cdf(count, 23, a, b)
    assert Usual(share, clustering).at_most(count, [23]) == pytest.approx(expected, rel=1e-9)


def test_without_clustering_takes_are_one_binomial():
    assert Usual(0.2, 0.0).at_most(3, [9, 11, 14]) == pytest.approx(binom.cdf(3, 34, 0.2), rel=1e-9)


def test_several_takes_add_up_as_they_do_when_drawn():
    chance, sizes = np.random.default_rng(3), [6, 9, 12, 9]
    a, b = 0.2 * 9, 0.8 * 9  # clustering 0.1
    shares = chance.beta(a, b, size=(40_000, 4))
    drawn = chance.binomial(sizes, shares).sum(axis=1)
    for count in (0, 2, 7):
        # Three standard errors of a share among 40,000 are 0.0075 at most.
        assert Usual(0.2, 0.1).at_most(count, sizes) == pytest.approx((drawn <= count).mean(), abs=0.0075)


def test_phrases_that_cluster_are_less_telling():
    sizes = [12] * 6
    chances = [Usual(0.1, clustering).at_most(0, sizes) for clustering in (0.0, 0.05, 0.2)]
    assert chances == sorted(chances)


def test_all_there_can_be_is_certain():
    assert Usual(0.3, 0.1).at_most(20, [8, 12]) == pytest.approx(1.0)
    assert Usual(0.3, 0.1).at_most(0, []) == 1.0


def test_a_fit_finds_the_share_and_the_clustering_that_were_drawn():
    chance = np.random.default_rng(8)
    totals = chance.integers(10, 40, size=800)
    found = beta_binomial(chance.binomial(totals, chance.beta(3, 7, size=800)), totals)
    # Beta(3, 7): mean 0.3, clustering 1 / 11.
    assert found.share == pytest.approx(0.3, abs=0.02)
    assert found.clustering == pytest.approx(1 / 11, abs=0.02)


def test_every_label_has_its_share_and_those_of_a_pair_are_the_whole():
    shares = usual_shares()
    assert set(shares) == {label for labels in LABELS.values() for label in labels}
    for labels in LABELS.values():
        # Fitted one by one, so nearly.
        assert sum(shares[label].share for label in labels) == pytest.approx(1.0, abs=0.01)
