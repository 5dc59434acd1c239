"""How takemill words what happens to the tension of a take, and what its held notes are."""

from collections.abc import Iterator, Sequence

from batch.model import Analysis, ChordRole, Harmony, HeldNote, Moment, MomentKind, Tension
from batch.words import clock, count

_MOST_TOLD = 6
"""Moments of a kind, and held notes, told in a line (our choice); the rest are counted."""
_EVEN_BELOW = 0.15
"""Between the calmest phrase and the tensest, below which a take is even: what a peak must stand out by."""

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
    lines = {
        "tension": _shape_words(tension),
        "groove": _groove_words([m for m in tension.moments if m.kind is MomentKind.OUT]),
        "holds": held_words(tension, analysis),
    }
    return [f"{head}: {words}" for head, words in lines.items() if words]


def _shape_words(tension: Tension) -> str:
    """Return where a take builds, peaks and is released; nothing of a single phrase."""
    if len(tension.phrases) == 1:
        return ""
    shape = [_some([moment_words(m) for m in tension.moments if m.kind is kind]) for kind in _SHAPE]
    shape += ["ends on its peak"] if tension.ends_on_peak else []
    values = [phrase.value for phrase in tension.phrases]
    even = "even, " if max(values) - min(values) < _EVEN_BELOW else ""
    return "; ".join(words for words in shape if words) or f"{even}no builds and no peaks"


def _groove_words(outs: Sequence[Moment]) -> str:
    """Return where the groove is left and come back to: the first time in full, then shorter."""
    told = [moment_words(moment) for moment in outs]
    later = [words.replace("goes out in phrase", "out in") for words in told[1:]]
    return _some([*told[:1], *later], parted="; ")


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
            return f"starts out of the groove{back}" if first == 1 else f"goes out in phrase {first}{back}"


def held_words(tension: Tension, analysis: Analysis) -> str:
    """Return how many notes are held, and which: those that are no chord tones, else the longest."""
    harmony = analysis.harmony
    held = sorted(tension.held, key=lambda each: -each.duration_s)
    if not held:
        return ""
    known, far = count(len(held), "note"), _far(held, harmony)
    if harmony and far:
        told = sorted(far[:_MOST_TOLD], key=lambda each: each.note)
        parted = ", " if len(held) == 1 else "; "
        return f"{known}{parted}{_some([held_over(each, harmony, analysis) for each in told], len(far))}"
    longest = [f"{_name(analysis, each)} at {_at(analysis, each)}" for each in held[:_MOST_TOLD]]
    return f"{known}, {'the longest ' if len(held) > 1 else ''}{', '.join(longest)}"


def _far(held: Sequence[HeldNote], harmony: Harmony | None) -> list[HeldNote]:
    """Return the held notes that are extensions of their chords or outside them."""
    return [each for each in held if harmony and harmony.roles[each.note] in _FAR]


_FAR = frozenset({ChordRole.EXTENSION, ChordRole.OUTSIDE})


def held_over(held: HeldNote, harmony: Harmony, analysis: Analysis) -> str:
    """Return what a held note is over its chord: ``#11 (F#) over Cmaj7 at 0:31``."""
    at = harmony.over[held.note]
    name = _name(analysis, held)
    if at is None or held.degree is None:
        return f"{name} at {_at(analysis, held)}"
    symbol = harmony.chords[at].symbol
    spelled = spelled_as(analysis.notes[held.note].pitch_midi, held.degree, symbol)
    return f"{degree_words(held.degree)} ({spelled}) over {symbol} at {_at(analysis, held)}"


def degree_words(degree: str) -> str:
    """Return a degree as musicians say it: a bare 7 would be taken for that of a dominant seventh."""
    return "maj7" if degree == "7" else degree


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


def _some(told: Sequence[str], known: int | None = None, parted: str = ", ") -> str:
    """Return what is told, with how many more are ``known``, by default all that there are."""
    more = (len(told) if known is None else known) - _MOST_TOLD
    return parted.join([*told[:_MOST_TOLD], *([f"and {more} more"] if more > 0 else [])])


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
