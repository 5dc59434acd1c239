"""How takemill words what happens to the tension of a take, and what its held notes are."""

from collections.abc import Iterator, Sequence

from batch.model import Analysis, ChordRole, Harmony, HeldNote, Moment, MomentKind, Tension
from batch.words import clock, count

_MOST_TOLD = 6
"""Moments of a kind, and held notes, told in a line (our choice); the rest are counted."""

_LETTERS = "CDEFGAB"
_STEPS = (0, 2, 4, 5, 7, 9, 11)
_NAMES = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
"""Pitches where no chord says how to spell them."""
_SIGNS = {-2: "bb", -1: "b", 0: "", 1: "#", 2: "##"}


def tension_words(analysis: Analysis) -> list[str]:
    """Return lines: where it builds, peaks and is released, where the groove is left, what is held."""
    tension = analysis.tension
    if tension is None:
        return []
    shape = [_some([moment_words(m) for m in tension.moments if m.kind is kind]) for kind in _SHAPE]
    shape += ["ends on its peak"] if tension.ends_on_peak else []
    outs = _some([moment_words(m) for m in tension.moments if m.kind is MomentKind.OUT])
    lines = {
        "tension": "; ".join(words for words in shape if words) or "even, no builds and no peaks",
        "groove": outs,
        "holds": held_words(tension, analysis),
    }
    return [f"{head}: {words}" for head, words in lines.items() if words]


_SHAPE = (MomentKind.BUILD, MomentKind.PEAK, MomentKind.RELEASE)


def moment_words(moment: Moment) -> str:
    """Return what happens, and in which phrase, counted from 1."""
    first, last = moment.first_phrase + 1, moment.last_phrase
    match moment.kind:
        case MomentKind.BUILD:
            return f"builds in phrases {first} to {first if last is None else last + 1}"
        case MomentKind.PEAK:
            return f"peak in phrase {first} at {clock(moment.start_s)}"
        case MomentKind.RELEASE:
            return f"releases in phrase {first if last is None else last + 1}"
        case MomentKind.OUT:
            back = " and stays out" if last is None else f", back in at {last + 1}"
            return f"goes out in phrase {first}{back}"


def held_words(tension: Tension, analysis: Analysis) -> str:
    """Return which notes are held longest; with a chart, which of those that are no chord tones."""
    harmony = analysis.harmony
    held = sorted(tension.held, key=lambda each: -each.duration_s)
    if harmony is None:
        longest = [f"{_name(analysis, each)} at {_at(analysis, each)}" for each in held[:_MOST_TOLD]]
        return f"{count(len(held), 'note')}, the longest {', '.join(longest)}" if longest else ""
    far = [each for each in held if harmony.roles[each.note] in _FAR]
    told = sorted(far[:_MOST_TOLD], key=lambda each: each.note)
    return _some([held_over(each, harmony, analysis) for each in told], len(far))


_FAR = frozenset({ChordRole.EXTENSION, ChordRole.OUTSIDE})


def held_over(held: HeldNote, harmony: Harmony, analysis: Analysis) -> str:
    """Return what a held note is over its chord: ``#11 (F#) over Cmaj7 at 0:31``."""
    at = harmony.over[held.note]
    name = _name(analysis, held)
    if at is None or held.degree is None:
        return f"{name} at {_at(analysis, held)}"
    symbol = harmony.chords[at].symbol
    spelled = spelled_as(analysis.notes[held.note].pitch_midi, held.degree, symbol)
    return f"{held.degree} ({spelled}) over {symbol} at {_at(analysis, held)}"


def spelled_as(pitch: float, degree: str, symbol: str) -> str:
    """Return a pitch's name as the degree of a chord: the #11 of Gb is a C, the 3 of E a G#."""
    place = round(pitch) % 12
    number = int(degree.lstrip("b#"))
    letter = (_LETTERS.index(symbol[0]) + number - 1) % len(_LETTERS)
    sign = (place - _STEPS[letter] + 6) % 12 - 6
    return _LETTERS[letter] + _SIGNS[sign] if abs(sign) <= 1 else _NAMES[place]


def _name(analysis: Analysis, held: HeldNote) -> str:
    return _NAMES[round(analysis.notes[held.note].pitch_midi) % 12]


def _at(analysis: Analysis, held: HeldNote) -> str:
    return clock(analysis.notes[held.note].onset_s)


def _some(told: Sequence[str], known: int | None = None) -> str:
    """Return what is told, with how many more are ``known``, by default all that there are."""
    more = (len(told) if known is None else known) - _MOST_TOLD
    return ", ".join([*told[:_MOST_TOLD], *([f"and {more} more"] if more > 0 else [])])


def moment_marks(tension: Tension, width: int) -> Iterator[tuple[float, str]]:
    """Yield a time and a short text for each marker of a take's moments, phrases in ``width`` digits.

    The texts are printable ASCII, and each is one of its kind: ``builds 03-06``, ``peak 06``, ``release 07``,
    ``out 07``, ``back in 09``.
    """
    for moment in tension.moments:
        first = f"{moment.first_phrase + 1:0{width}}"
        last = first if moment.last_phrase is None else f"{moment.last_phrase + 1:0{width}}"
        match moment.kind:
            case MomentKind.BUILD:
                yield moment.start_s, f"builds {first}-{last}"
            case MomentKind.PEAK:
                yield moment.start_s, f"peak {first}"
            case MomentKind.RELEASE:
                yield moment.end_s, f"release {last}"
            case MomentKind.OUT:
                yield moment.start_s, f"out {first}"
                if moment.last_phrase is not None:
                    yield moment.end_s, f"back in {last}"
