"""What the variety score must do, as properties."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import gmean

from batch.model import Density, Evidence, Groove, Labels, Length, Register
from batch.percentiles import Percentiles, load_percentiles
from batch.settings import GrooveSettings, VarietySettings
from batch.variety import DIMENSIONS, missing, overall, range_use, score_variety

PERCENTILES = load_percentiles()
MIDDLE = Evidence(
    duration_s=2.8,
    duration_beats=7.4,
    note_count=14,
    notes_per_beat=1.82,
    notes_per_s=5.6,
    articulation=0.86,
    syncopation=0.2,
    grouping=None,
    off_grid=0.15,
    register=0.0,
    leap_share=0.39,
)
LOW = dataclasses.replace(
    MIDDLE,
    duration_beats=0.5,
    notes_per_beat=0.3,
    articulation=0.2,
    syncopation=0.0,
    off_grid=0.0,
    register=-20.0,
    leap_share=-1.0,
)
HIGH = dataclasses.replace(
    MIDDLE,
    duration_beats=60.0,
    notes_per_beat=9.0,
    articulation=1.0,
    syncopation=1.0,
    off_grid=0.5,
    register=20.0,
    leap_share=1.0,
)


def scored(phrases, **settings):
    return score_variety(phrases, PERCENTILES, settings=VarietySettings(**settings), groove=GrooveSettings())


def somewhere(draw_between: tuple[float, float] = (0.0, 1.0)):
    """Return a strategy of phrases anywhere between LOW and HIGH in each dimension."""
    names = ("duration_beats", "notes_per_beat", "articulation", "syncopation", "register", "leap_share")
    shares = st.tuples(*(st.floats(*draw_between) for _ in names))
    return shares.map(
        lambda drawn: dataclasses.replace(
            MIDDLE,
            **{
                name: getattr(LOW, name) + share * (getattr(HIGH, name) - getattr(LOW, name))
                for name, share in zip(names, drawn, strict=True)
            },
        )
    )


takes = st.lists(somewhere(), min_size=4, max_size=24)


@given(somewhere(), st.integers(4, 30))
def test_phrases_all_alike_score_nothing(phrase, count):
    variety = scored([phrase] * count)
    assert (variety.score, variety.low, variety.high) == (0, 0, 0)


@pytest.mark.parametrize("pairs", [2, 3, 8])
def test_the_two_extremes_in_turn_score_everything(pairs):
    assert scored([LOW, HIGH] * pairs).score == 100


@given(takes)
def test_a_take_played_twice_scores_as_once(phrases):
    assert scored(phrases * 2).score == pytest.approx(scored(phrases).score, abs=2)


@given(takes)
def test_the_bounds_hold_the_score_and_all_lie_in_range(phrases):
    variety = scored(phrases)
    assert 0 <= variety.low <= variety.score <= variety.high <= 100
    assert all(0 <= part <= 100 for part in variety.parts.values())


@given(takes)
def test_the_score_is_a_geometric_mean_of_its_parts(phrases):
    # Reference: scipy.stats.gmean, of the parts moved away from nothing and back.
    variety = scored(phrases)
    parts = np.array(list(variety.parts.values()))
    assert variety.score == pytest.approx(gmean(parts + 10) - 10, abs=0.2)


@given(takes, st.sampled_from(DIMENSIONS))
def test_a_dimension_that_never_varies_costs_more_than_its_share_of_the_mean(phrases, name):
    parts = np.array(list(scored(phrases).parts.values()))
    flat = np.where(np.array(DIMENSIONS) == name, 0.0, parts)
    assert overall(flat / 100) <= flat.mean() / 100 + 1e-9


def test_what_a_take_never_does_is_said():
    short = Labels(Length.SHORT, Density.DENSE, Groove.UNMEASURED, register=Register.HIGH)
    long = Labels(Length.LONG, Density.DENSE, Groove.UNMEASURED, register=Register.MIDDLE)
    # Neither groove, articulation nor interval size was measured: nothing is missed there.
    somewhere_in_it = dataclasses.replace(MIDDLE, range_place=0.5)
    found = missing([(short, somewhere_in_it), (long, somewhere_in_it)])
    assert found == {"length": (), "density": ("sparse",), "register": ("low",)}
    # Nor is a register, in a range that is too narrow to have one.
    assert missing([(short, MIDDLE), (long, MIDDLE)]) == {"length": (), "density": ("sparse",)}


def test_few_phrases_get_no_score_and_the_reason():
    variety = scored([LOW, HIGH, MIDDLE])
    assert variety.score is variety.low is variety.high is None
    assert "3 phrases" in variety.why_null
    assert set(variety.parts) == set(DIMENSIONS)


def test_a_take_without_grid_is_scored_on_what_was_measured():
    off_the_grid = [
        dataclasses.replace(p, duration_beats=None, notes_per_beat=None, syncopation=None, off_grid=None)
        for p in (LOW, HIGH, MIDDLE, LOW)
    ]
    variety = scored(off_the_grid)
    assert variety.parts["groove"] is None
    assert variety.parts["register"] > 50
    assert variety.score > 0


def test_a_lone_note_adds_nothing_to_articulation_and_interval_size():
    lone = dataclasses.replace(MIDDLE, articulation=None, leap_share=None)
    parts = scored([MIDDLE, lone, MIDDLE, lone]).parts
    assert parts["articulation"] == parts["interval_size"] == 0


def test_more_evidence_narrows_the_bounds():
    rng = np.random.default_rng(5)
    take = [dataclasses.replace(MIDDLE, register=float(r)) for r in rng.normal(0, 5, 8)]
    few, many = scored(take), scored(take * 8)
    assert many.high - many.low < few.high - few.low


def test_range_use_follows_the_gini_mean_difference():
    # Reference: the mean absolute difference of all pairs, by its definition (Gini 1912). It
    # orders samples of one size as range use does, up to the fifth that counts in full.
    rng = np.random.default_rng(11)
    samples = [rng.uniform(0, width, 40) for width in np.linspace(0.05, 1, 20)]
    gini = [np.abs(x[:, None] - x).mean() for x in samples]
    used = [range_use(x) for x in samples]
    assert np.corrcoef(gini, used)[0, 1] > 0.97


def test_percentiles_map_their_own_values_to_their_ranks():
    table = Percentiles((5, 50, 95), (1.0, 2.0, 4.0))
    assert table.position(np.array([0.0, 1.0, 2.0, 3.0, 4.0, 9.0])).tolist() == [0, 0, 0.5, 0.75, 1, 1]


def test_a_run_of_equal_percentiles_maps_to_its_middle():
    table = Percentiles((10, 20, 30, 40), (0.0, 1.0, 1.0, 2.0))
    assert table.position(np.array([1.0]))[0] == pytest.approx(0.5)


@pytest.mark.parametrize("values", [(2.0, 1.0), (1.0,)])
def test_percentiles_that_do_not_rise_are_refused(values):
    with pytest.raises(ValueError, match=r"percentiles|one entry"):
        Percentiles((5, 95), values)
