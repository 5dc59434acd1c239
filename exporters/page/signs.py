"""Small signs of numbers beside their words: a score with its range, a part of it."""

from markupsafe import Markup

_WIDTH = 100.0
_TALL = 8


def scale(low: float, score: float, high: float) -> Markup:
    """Return a score's range on a line from 0 to 100, as SVG that only repeats what is said beside it."""
    range_ = f'<rect class="range" x="{low:.1f}" y="2" width="{max(high - low, 0.5):.1f}" height="4"/>'
    at = min(max(score - 0.5, 0), _WIDTH - 1)
    mark = f'<rect class="mark" x="{at:.1f}" y="0" width="1" height="{_TALL}"/>'
    return _svg(f'<rect class="whole" y="3" width="100" height="2"/>{range_}{mark}')


def bar(value: float | None) -> Markup:
    """Return a number of 0 to 100 as a bar, nothing where there is none."""
    held = "" if value is None else f'<rect class="held" y="2" width="{value:.1f}" height="4"/>'
    return _svg(f'<rect class="whole" y="2" width="100" height="4"/>{held}')


def _svg(content: str) -> Markup:
    frame = f'<svg class="scale" viewBox="0 0 100 {_TALL}" preserveAspectRatio="none" aria-hidden="true">'
    return Markup(f"{frame}{content}</svg>")
