"""Phrases counted by label, by hand."""

from dataclasses import replace

import numpy as np
from trending import drawn

from batch.model import Articulation, Groove, IntervalSize, Labels, Length, Register, RelationKind
from batch.outline import PhraseOutline
from batch.trend.tally import LABELS, Tally


def plain() -> PhraseOutline:
    (phrase,) = drawn(np.random.default_rng(0), 1)
    return phrase


def labelled(**labels: object) -> PhraseOutline:
    phrase = plain()
    return replace(phrase, labels=replace(phrase.labels, **labels))


def test_labels_are_counted_among_what_was_measured():
    phrases = [
        labelled(length=Length.LONG, groove=Groove.UNMEASURED),
        labelled(length=Length.SHORT, groove=Groove.IN_GROOVE),
        labelled(length=Length.SHORT, groove=Groove.AGAINST_GROOVE),
    ]
    tally = Tally.of(phrases)
    assert tally.phrases == 3
    assert tally.share("length", "long") == 1 / 3
    assert tally.share("groove", "against-groove") == 1 / 2


def test_what_is_unmeasured_never_counts():
    phrase = labelled(
        groove=Groove.UNMEASURED,
        articulation=Articulation.UNMEASURED,
        interval_size=IntervalSize.UNMEASURED,
        register=Register.MIDDLE,
    )
    tally = Tally.of([replace(phrase, range_place=None)])
    assert set(tally.measured) == {"length", "density"}
    assert tally.share("register", "low") is None


def test_the_first_phrase_of_each_take_has_none_to_take_up():
    take = [replace(plain(), relation=kind) for kind in (RelationKind.NEW, RelationKind.VARIES)]
    both = Tally.sum([Tally.of(take), Tally.of(take)])
    assert (both.phrases, both.measured["relation"], both.labels["varies"]) == (4, 2, 2)


def test_every_label_that_there_is_has_a_place():
    kinds = {"groove": Groove, "register": Register, "articulation": Articulation, "relation": RelationKind}
    for dimension, kind in kinds.items():
        assert set(LABELS[dimension]) == {each.value for each in kind} - {"unmeasured"}
    assert set(LABELS) - {"relation"} == set(Labels.__dataclass_fields__)
