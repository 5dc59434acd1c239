"""How high a phrase stands wherever phrases are drawn: its density."""

FULL_PER_BEAT, FULL_PER_S = 5.8, 17.4
"""Notes a beat, and a second, of a block of full height: three times the median of annotated jazz solos."""
LEAST_SHARE = 0.12
"""Of the full height that a block keeps: the sparsest phrase is still one to be seen (our choice)."""


def height_share(density: float, *, in_beats: bool) -> float:
    """Return how much of the full height a block takes, from notes a beat or a second."""
    return min(max(density / (FULL_PER_BEAT if in_beats else FULL_PER_S), LEAST_SHARE), 1.0)
