"""Pictures read back: their words as boxes, their blocks as corners; and phrases to draw."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree import ElementTree

from hypothesis import strategies as st

from batch.model import (
    Density,
    Device,
    Evidence,
    Groove,
    LabelledPhrase,
    Labels,
    Length,
    Relation,
    RelationKind,
)
from exporters.pictures.svg import width_of

SVG = "{http://www.w3.org/2000/svg}"
KINDS = {f"{groove} {density}" for groove in ("in", "against", "none") for density in ("dense", "sparse")}


@dataclass(frozen=True)
class Box:
    """A text and the room that it takes at most: descenders reach a quarter of the size below the line."""

    text: str
    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: "Box") -> bool:
        apart = self.right <= other.left or other.right <= self.left
        return not (apart or self.bottom <= other.top or other.bottom <= self.top)


def boxes(root: ElementTree.Element) -> list[Box]:
    """Return the boxes of all words in a picture."""
    return [_box(text) for text in root.iter(f"{SVG}text")]


def _box(text: ElementTree.Element) -> Box:
    x, y, size = (float(text.get(name)) for name in ("x", "y", "font-size"))
    width = width_of(text.text, size, strong=text.get("class") == "strong")
    left = x - width if text.get("text-anchor") == "end" else x
    # Most letters reach no higher than 0.73 of the size over their line (DejaVu Sans' capitals).
    return Box(text.text, left, y - 0.75 * size, left + width, y + 0.25 * size)


def overlaps(boxes: list[Box]) -> Iterator[tuple[str, str]]:
    """Yield pairs of words that lie over one another."""
    ordered = sorted(boxes, key=lambda box: box.top)
    for i, box in enumerate(ordered):
        for other in ordered[i + 1 :]:
            if other.top >= box.bottom:
                break
            if box.meets(other):
                yield box.text, other.text


def blocks(root: ElementTree.Element) -> list[tuple[str, list[list[tuple[float, float]]]]]:
    """Return the class of each block that stands for a phrase, and the corners of its pieces."""
    return [
        (path.get("class"), corners(path.get("d")))
        for path in root.iter(f"{SVG}path")
        if path.get("class") in KINDS and path.find(f"{SVG}title") is not None
    ]


def corners(data: str) -> list[list[tuple[float, float]]]:
    """Return the corners of each piece of path data in M, L, H, V and z (SVG 1.1, 8.3)."""
    pieces: list[list[tuple[float, float]]] = []
    x = y = 0.0
    for letter, numbers in re.findall(r"([MLHVz])([^MLHVz]*)", data):
        values = [float(number) for number in numbers.split()]
        if letter == "M":
            pieces.append([])
        if letter in "ML":
            x, y = values
        elif letter == "H":
            (x,) = values
        elif letter == "V":
            (y,) = values
        if letter != "z":
            pieces[-1].append((x, y))
    return pieces


def phrase(
    start_s: float,
    end_s: float,
    *,
    density: float = 2.0,
    groove: Groove = Groove.IN_GROOVE,
    dense: bool = True,
    long: bool = False,
    device: str | None = None,
) -> LabelledPhrase:
    """Return a phrase of this density, in notes a beat and a second alike."""
    labels = Labels(Length.LONG if long else Length.SHORT, Density.DENSE if dense else Density.SPARSE, groove)
    devices = () if device is None else (Device(device, start_s, end_s),)
    evidence = Evidence(
        end_s - start_s, None, 1, density, density, None, None, None, None, 0.0, None, devices=devices
    )
    return LabelledPhrase(start_s, end_s, 0, 0, labels, evidence, Relation(RelationKind.NEW, None, None))


@st.composite
def many_phrases(draw: st.DrawFn, most: int = 60) -> tuple[LabelledPhrase, ...]:
    """Phrases of any length and density, some side by side, some hours apart."""
    time_s, phrases = draw(st.floats(0, 100)), []
    for _ in range(draw(st.integers(1, most))):
        start_s = time_s + draw(st.sampled_from([0.0, 0.01, 0.3, 2.0, 20.0, 5000.0]))
        time_s = start_s + draw(st.sampled_from([0.05, 0.4, 2.5, 12.0, 90.0, 4000.0]))
        groove = draw(st.sampled_from(Groove))
        device = draw(st.sampled_from([None, "off-beats", "fives over sixteenths"]))
        phrases.append(
            phrase(
                start_s,
                time_s,
                density=draw(st.sampled_from([0.0, 0.2, 1.5, 4.0, 30.0])),
                groove=groove,
                dense=draw(st.booleans()),
                long=draw(st.booleans()),
                device=device if groove is Groove.AGAINST_GROOVE else None,
            )
        )
    return tuple(phrases)
