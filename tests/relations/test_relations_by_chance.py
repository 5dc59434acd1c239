"""Annotated solos: fewer than 2 % of phrases may be related by chance, and in solos many are.

By chance are phrases each of another solo (see ``benchmark.relations``); the corpus is no part of the
project.
"""

from pathlib import Path

import numpy as np
import pytest
from benchmark.relations import as_played, of_others, pairs_row, related, takes_of

from batch.model import RelationKind
from batch.relations.fit import read_solos

CORPUS = Path(__file__).resolve().parents[3] / "shared" / "corpus"

pytestmark = pytest.mark.skipif(not CORPUS.is_dir(), reason="needs the annotated solos")


@pytest.fixture(scope="module")
def takes():
    return [take for take, _ in takes_of(CORPUS, read_solos(CORPUS))]


def rates(takes, make):
    rng = np.random.default_rng(2)
    found = [one for k in range(len(takes)) for one in related(make(k, takes, rng))[1:]]
    vary = sum(one.kind is RelationKind.VARIES for one in found) / len(found)
    answer = sum(one.kind is RelationKind.ANSWERS or one.answers_too for one in found) / len(found)
    return vary, answer


def test_phrases_of_different_solos_are_seldom_related(takes):
    vary, answer = rates(takes, of_others)
    assert vary < 0.02
    assert answer < 0.02


def test_lone_pairs_of_different_solos_are_seldom_related(takes):
    _, _, _, vary, answer, *_ = pairs_row(takes, np.random.default_rng(2))
    assert vary < 0.02
    assert answer < 0.02


def test_phrases_of_one_solo_vary_each_other_ten_times_as_often(takes):
    vary, _ = rates(takes, as_played)
    assert vary > 0.15
