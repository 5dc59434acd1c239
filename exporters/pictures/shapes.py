"""Phrases as blocks: the outline of each, what it says, and a take in a thumbnail.

A block lies from its phrase's start to its end. Its height is the density, its fill says dense or sparse, and
it leans where the phrase goes against the groove, so that no sign is colour alone.
"""

from collections.abc import Iterable

from batch.height import FULL_PER_BEAT, FULL_PER_S, LEAST_SHARE
from batch.model import Density, Groove, Labels, Length
from batch.outline import Outline
from batch.words import count

LEAN, LEAST_LEAN, MOST_LEAN = 1 / 3, 1 / 6, 1 / 2
"""How far a block's top is shifted: of its height; of the full height at least, so that low blocks are seen
to lean; of its width at most (our choice)."""
NARROWEST = 0.8
"""Width of a block in a thumbnail, in pixels, however short its phrase (our choice)."""

_PAD = 1
"""Pixels of a thumbnail that outlines may need beyond a block."""


def kind_of(labels: Labels) -> str:
    """Return the two classes that a style sheet colours a block by: ``in dense``, ``none sparse``."""
    # Compared, not looked up: an enum's hash is slow, and a page asks for ten thousand.
    dense = labels.density is Density.DENSE
    if labels.groove is Groove.IN_GROOVE:
        return "in dense" if dense else "in sparse"
    if labels.groove is Groove.AGAINST_GROOVE:
        return "against dense" if dense else "against sparse"
    return "none dense" if dense else "none sparse"


def block(x0: float, x1: float, base: float, height: float, full: float | None = None) -> str:
    """Return the block from ``x0`` to ``x1`` that stands on ``base``, as SVG path data.

    It leans where the ``full`` height is given.
    """
    top = base - height
    if full is None:
        return f"M{x0:.1f} {base:.1f}V{top:.1f}H{x1:.1f}V{base:.1f}z"
    shift = min(max(height * LEAN, full * LEAST_LEAN), (x1 - x0) * MOST_LEAN)
    return f"M{x0:.1f} {base:.1f}L{x0 + shift:.1f} {top:.1f}H{x1:.1f}L{x1 - shift:.1f} {base:.1f}z"


def thumbnail(outline: Outline, width: int = 240, height: int = 24) -> str:
    """Return a take as a small SVG to be set into a page, whose style sheet colours it.

    The take's whole length is the width. A path for each kind of phrase (``in dense`` and so on) keeps it
    small, as a page may hold a thousand.
    """
    base, room = height - _PAD, height - 2 * _PAD
    length_s = max(outline.duration_s, outline.phrases[-1].end_s if outline.phrases else 0.0) or 1.0
    left, right = float(_PAD), float(width - _PAD)
    per_s = (right - left) / length_s
    full = room / (FULL_PER_BEAT if outline.in_beats else FULL_PER_S)
    least, against = room * LEAST_SHARE, Groove.AGAINST_GROOVE
    paths: dict[str, list[str]] = {}
    for phrase in outline.phrases:
        x0 = min(max(left, left + phrase.start_s * per_s), right - NARROWEST)
        x1 = min(max(x0 + NARROWEST, left + phrase.end_s * per_s), right)
        tall = min(max(phrase.density * full, least), room)
        leans = room if phrase.labels.groove is against else None
        paths.setdefault(kind_of(phrase.labels), []).append(block(x0, x1, base, tall, leans))
    drawn = "".join(f'<path class="{kind}" d="{"".join(data)}"/>' for kind, data in paths.items())
    return (
        f'<svg class="phrases" role="img" aria-label="{summary(p.labels for p in outline.phrases)}"'
        f' viewBox="0 0 {width} {height}" width="{width}" height="{height}">'
        f'<path class="line" d="M{_PAD} {base}H{width - _PAD}"/>{drawn}</svg>'
    )


def summary(labels: Iterable[Labels]) -> str:
    """Return how many phrases there are of each label, in words."""
    every = list(labels)
    if not every:
        return "no phrases"
    lengths, densities = [each.length for each in every], [each.density for each in every]
    grooves = [each.groove for each in every]
    parts = (
        _counted((lengths.count(Length.SHORT), "short"), (lengths.count(Length.LONG), "long")),
        _counted((densities.count(Density.SPARSE), "sparse"), (densities.count(Density.DENSE), "dense")),
        _counted(
            (grooves.count(Groove.IN_GROOVE), "in the groove"),
            (grooves.count(Groove.AGAINST_GROOVE), "against it"),
            (grooves.count(Groove.UNMEASURED), "with the groove unmeasured"),
        ),
    )
    return f"{count(len(every), 'phrase')}: {'; '.join(parts)}"


def _counted(*words: tuple[int, str]) -> str:
    return ", ".join(f"{number} {word}" for number, word in words if number)
