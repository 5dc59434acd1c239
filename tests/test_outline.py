"""Outlines: what they keep of a take, there and back."""

from dataclasses import replace

from building import analysis_of, phrases_at, take_info

from batch.model import Relation, RelationKind
from batch.outline import dump_outline, outline_of, parse_outline
from batch.settings import GrooveSettings


def test_an_outline_keeps_what_labels_and_relations_came_from():
    (phrase,) = phrases_at([(1.0, 3.0)], relation=Relation(RelationKind.VARIES, 0, 0.9))
    evidence = replace(
        phrase.evidence, duration_beats=5.0, articulation=0.4, range_place=0.2, leap_share=0.3,
        syncopation=GrooveSettings().syncopation_from, off_grid=0.0,
    )  # fmt: skip
    take = replace(take_info(), player="Ada Quill", recorded_at="2024-05-03")
    outline = outline_of(analysis_of((replace(phrase, evidence=evidence),), take=take))
    assert parse_outline(dump_outline(outline)) == outline
    assert (outline.player, outline.recorded_at) == ("Ada Quill", "2024-05-03")
    (kept,) = outline.phrases
    assert (kept.length, kept.articulation, kept.range_place, kept.leap_share) == (5.0, 0.4, 0.2, 0.3)
    assert (kept.relation, kept.similarity) == (RelationKind.VARIES, 0.9)
    # Syncopated just so far that the label turns, which is 1 on the scale of tension.
    assert kept.tension == 1.0


def test_a_length_without_a_grid_is_in_seconds_and_the_groove_is_not_measured():
    (kept,) = outline_of(analysis_of(phrases_at([(1.0, 3.0)]))).phrases
    assert (kept.length, kept.tension) == (2.0, None)
