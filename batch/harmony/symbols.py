"""Chord symbols as musicians write them: their root, their tones, and what may be played on top.

The qualities are pychord's (pypi.org/project/pychord); here other spellings are made its own, and what it has
no name for is taken as a quality that it has, changed: ``m9b5`` is ``m9`` with a flat fifth.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

from pychord import Chord as Named

from batch.harmony.spelling import plain_signs, spelled

LONGEST = 40
"""Characters of a symbol (our choice); longer ones are no symbols, and would take long to try."""

_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SHIFTS = {"b": -1, "#": 1}
_MAJOR_SCALE = (0, 2, 4, 5, 7, 9, 11)

_SYMBOL = re.compile(r"([A-G](?:bb|##|b|#)?)(.*?)(?:/([A-G](?:bb|##|b|#)?))?")
_CHANGE = re.compile(r"(maj7|sus[24]?|alt|(?:(?:add|no|omit)?(?:[b#+-])?)(?:2|3|4|5|6|7|9|11|13))$")

_MORE: dict[str, tuple[str, ...]] = {
    "m13": ("1", "b3", "5", "b7", "9", "11", "13"),
    "maj11": ("1", "3", "5", "7", "9", "11"),
    "mmaj9": ("1", "b3", "5", "7", "9"),
    "mmaj11": ("1", "b3", "5", "7", "9", "11"),
    "mmaj13": ("1", "b3", "5", "7", "9", "11", "13"),
    "m7b9": ("1", "b3", "5", "b7", "b9"),
}
"""Qualities that pychord has no name for, stacked in thirds as the number says (textbook)."""

_ALTERED = ("1", "3", "b7", "b9", "#9", "#11", "b13")
"""A seventh chord with every tension altered, the fifth among them (Levine 1995, "The Jazz Theory Book",
from memory)."""

_SEVENTH = 7
_CHORD_NUMBERS = frozenset(range(1, 8))
"""Degrees up to the seventh make the chord; ninth, eleventh and thirteenth are put on top (textbook)."""


@dataclass(frozen=True, slots=True)
class Chord:
    """A chord: its symbol as written, the pitch class of its root, and what it consists of.

    ``tones`` has the degree of each chord tone by its semitones above the root, the bass of a slash chord
    among them, ``tensions`` the same of what the symbol puts on top.
    """

    symbol: str
    root: int
    tones: tuple[tuple[int, str], ...]
    tensions: tuple[tuple[int, str], ...] = ()


@lru_cache(maxsize=4096)
def read_chord(symbol: str) -> Chord | None:
    """Return the chord that a symbol stands for; None if that is not known."""
    plain = plain_signs(symbol.strip())
    # Numbers after a slash are no bass: 6/9 is one chord.
    matched = _SYMBOL.fullmatch(plain) if len(plain) <= LONGEST else None
    if matched is None:
        return None
    root_name, quality, bass_name = matched.groups()
    degrees = _degrees(spelled(quality))
    if degrees is None:
        return None
    root = pitch_class(root_name)
    made = {semitones(degree): degree for degree in degrees}
    tones = {at: degree for at, degree in made.items() if number_of(degree) in _CHORD_NUMBERS}
    if bass_name and (bass := (pitch_class(bass_name) - root) % 12) not in tones:
        tones[bass] = made.pop(bass, "") or _BASS_NAMES[bass]
    tensions = {at: degree for at, degree in made.items() if at not in tones}
    return Chord(symbol.strip(), root, tuple(sorted(tones.items())), tuple(sorted(tensions.items())))


def pitch_class(name: str) -> int:
    """Return the pitch class, 0 to 11, of a note's name such as ``Bb``."""
    return (_STEPS[name[0]] + sum(_SHIFTS[sign] for sign in name[1:])) % 12


def semitones(degree: str) -> int:
    """Return the semitones, 0 to 11, of a degree such as ``#11`` above the root."""
    steps = _MAJOR_SCALE[(number_of(degree) - 1) % _SEVENTH]
    return (steps + sum(_SHIFTS[sign] for sign in degree if sign in _SHIFTS)) % 12


def number_of(degree: str) -> int:
    """Return the number of a degree: 11 of ``#11``."""
    return int(degree.lstrip("b#"))


_BASS_NAMES = ("1", "b9", "9", "b3", "3", "11", "#11", "5", "b13", "13", "b7", "7")
"""What a bass is called that is no tone of its chord."""


def _degrees(quality: str) -> list[str] | None:
    """Return the degrees of a quality: what pychord, or our table, says, with changes at its end made."""
    changes = []
    while (known := _known(quality)) is None:
        change = _CHANGE.search(quality)
        if change is None:
            return None
        changes.append(change[1])
        quality = quality[: change.start()]
    degrees: list[str] | None = known
    for made in reversed(changes):
        degrees = _changed(degrees, made) if degrees else None
    return degrees


def _known(quality: str) -> list[str] | None:
    if quality in _MORE:
        return list(_MORE[quality])
    if quality.startswith(("b", "#")) or "/" in quality:
        return None  # pychord would read them as part of the root, or as an inversion
    try:
        degrees = Named(f"C{quality}").quality.intervals
    except ValueError:
        return None
    # A thirteenth over a major third goes without the eleventh (common practice; Levine 1995, from memory).
    return (
        [d for d in degrees if d != "11"]
        if {"3", "11"} <= {*degrees} and _is_thirteenth(degrees)
        else degrees
    )


def _is_thirteenth(degrees: list[str]) -> bool:
    return any(number_of(degree) == 13 for degree in degrees)  # noqa: PLR2004


def _changed(degrees: list[str], change: str) -> list[str] | None:
    """Return the degrees with one change; None where it makes no sense."""
    for beginning, make in _CHANGES:
        if change.startswith(beginning):
            return make(degrees, change[len(beginning) :])
    sign, number = ("", change) if change[0].isdigit() else (change[0], change[1:])
    if change == "7":
        return [*degrees, "b7"]
    degree = {"+": "#", "-": "b"}.get(sign, sign) + _UPPER.get(number, number)
    if not sign and (degree in degrees or (number in _STACKED and not _SEVENTHS & {*degrees})):
        return None  # a plain ninth has a seventh below it
    return _with(degrees, degree, instead=bool(sign))


_UPPER = {"2": "9", "4": "11", "6": "13"}
"""Degrees an octave up, where they are added."""
_STACKED = frozenset({"9", "11", "13"})
_SEVENTHS = frozenset({"b7", "7", "bb7", "6"})


def _with(degrees: list[str], degree: str, *, instead: bool) -> list[str]:
    """Return the degrees with one more, which stands instead of the plain one of its number."""
    plain = str(number_of(degree))
    return [d for d in degrees if d != degree and not (instead and d == plain)] + [degree]


def _added(degrees: list[str], what: str) -> list[str]:
    sign = what[0] if what[0] in "b#+-" else ""
    number = what[len(sign) :]
    return _with(
        degrees, {"+": "#", "-": "b"}.get(sign, sign) + _UPPER.get(number, number), instead=bool(sign)
    )


def _without(degrees: list[str], what: str) -> list[str]:
    return [degree for degree in degrees if number_of(degree) != int(what.lstrip("b#+-"))]


def _suspended(degrees: list[str], what: str) -> list[str]:
    return _with(_without(degrees, "3"), "2" if what == "2" else "4", instead=True)


_CHANGES: tuple[tuple[str, Callable[[list[str], str], list[str]]], ...] = (
    ("maj7", lambda degrees, _: [*degrees, "7"]),
    ("sus", _suspended),
    ("alt", lambda _, __: list(_ALTERED)),
    ("add", _added),
    ("no", _without),
    ("omit", _without),
)
