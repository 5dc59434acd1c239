"""Ideas that run through a take, and how connected the take is."""

from collections.abc import Sequence

from batch.model import Motif, Phrase, Relatedness, Relation, RelationKind

STATEMENTS = 3
"""An idea that is only said twice is no motif of the take, unless it comes back from far (our choice)."""
FAR_APART = 8
"""Phrases from one statement to the other at which it does (our choice)."""


def relatedness(
    phrases: Sequence[Phrase], relations: Sequence[Relation], *, phrases_from: int
) -> Relatedness:
    """Return the motifs of a take, in the order in which they are first stated, and its connectedness."""
    motifs = tuple(
        Motif(tuple(family), phrases[family[0]].start_s, phrases[family[-1]].end_s)
        for family in _families(relations)
        if len(family) >= STATEMENTS or family[-1] - family[0] >= FAR_APART
    )
    if len(phrases) < phrases_from:
        return Relatedness(None, motifs, f"fewer than {phrases_from} phrases")
    connected = sum(one.kind is not RelationKind.NEW for one in relations[1:])
    return Relatedness(round(100 * connected / (len(phrases) - 1), 1), motifs)


def _families(relations: Sequence[Relation]) -> list[list[int]]:
    """Return phrases that vary one another, directly or by way of others."""
    family_of: dict[int, list[int]] = {}
    for i, relation in enumerate(relations):
        # What is taken up in passing carries no motif; of an answer nothing is kept.
        if relation.to_phrase is not None and not relation.in_passing:
            family = family_of.setdefault(relation.to_phrase, [relation.to_phrase])
            family.append(i)
            family_of[i] = family
    return [family for first, family in sorted(family_of.items()) if first == family[0]]
