"""Which phrase varies an earlier one, or answers the one before it, and what ideas run through a take."""

from batch.relations.alignment import compile_alignment
from batch.relations.motifs import relatedness
from batch.relations.relate import relate, similarity

__all__ = ["compile_alignment", "relate", "relatedness", "similarity"]
