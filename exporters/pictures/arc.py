"""The tension of a take as a line over its phrases."""

from collections.abc import Iterator

from batch.model import Tension
from exporters.pictures.svg import path, short
from exporters.pictures.systems import System


def arc(tension: Tension, system: System) -> Iterator[str]:
    """Yield a system's line, from 0 on its base line to 1 at its top; a light one parts it from blocks."""
    points = list(zip(tension.times_s, tension.curve, strict=True))
    row = system.row
    inside = [i for i, (time_s, _) in enumerate(points) if row.start_s <= time_s <= row.end_s]
    if len(inside) < 2:  # noqa: PLR2004  a point is no line
        return
    full = system.base - system.top
    data = "L".join(
        f"{short(system.x(time_s))} {short(system.base - value * full)}"
        for time_s, value in points[inside[0] : inside[-1] + 1]
    )
    yield path("halo", f"M{data}")
    yield path("arc", f"M{data}")
