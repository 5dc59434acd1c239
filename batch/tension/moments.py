"""What happens to the tension from phrase to phrase: builds, peaks, releases; out of the groove and back in.

Peaks are those of the phrases' tension smoothed over three, so that phrases which alternate, as in call and
response, are not a peak each. A peak lies on the tensest of its three, a build rises to it, a release falls
from it. All thresholds are absolute, so that small differences, however regular, are no moments.
"""

from collections.abc import Iterator, Sequence

import numpy as np
from scipy.signal import find_peaks

from batch.model import Groove, LabelledPhrase, Moment, MomentKind
from batch.settings import TensionSettings

_WINDOW = (0.25, 0.5, 0.25)
"""A binomial window over three phrases, the shortest that is symmetric and levels an alternation."""

_NO_RISE = 0.02
"""A phrase this much below the one before does not end a build (our choice)."""

_OPENING_PHRASES = 2
"""Within so many phrases a peak in the very first one must fall off: before it there is nothing that it could
stand out from, and a take that lets go little by little has an opening, no peak (our choice)."""

ORDER = tuple(MomentKind)
"""Of moments at the same phrase."""


def moments_of(
    phrases: Sequence[LabelledPhrase],
    tension: np.ndarray,
    curve: tuple[np.ndarray, np.ndarray],
    settings: TensionSettings,
) -> tuple[Moment, ...]:
    """Return the moments of a take, by the phrase they begin with.

    Parameters
    ----------
    phrases : sequence of LabelledPhrase
    tension : ndarray, shape (phrases,)
    curve : ndarray, ndarray
        Times and the tension at each, which says where in its phrase a peak is.
    settings : TensionSettings
    """
    peaks, smooth = peaks_of(tension, settings), smoothed(tension)
    found = [
        *(_peak(phrases, peak, curve) for peak in peaks),
        *(_span(MomentKind.BUILD, phrases, *span) for span in _builds(smooth, peaks, settings)),
        *(_release(phrases, *span) for span in _releases(phrases, tension, peaks, settings)),
        *_outs(phrases),
    ]
    return tuple(sorted(found, key=lambda moment: (moment.first_phrase, ORDER.index(moment.kind))))


def smoothed(tension: np.ndarray) -> np.ndarray:
    """Return the tension of each phrase with that of its neighbours; the ends have one."""
    window = np.array(_WINDOW)
    known = np.convolve(np.ones(len(tension)), window)[1:-1]
    return np.convolve(tension, window)[1:-1] / known


def peaks_of(tension: np.ndarray, settings: TensionSettings) -> list[int]:
    """Return the phrases that are peaks."""
    if len(tension) < settings.build_phrases:
        return []
    smooth = smoothed(tension)
    # The ends may be peaks: nothing is known of what lies beyond, so it is taken to be as low as the lowest.
    low = smooth.min()
    tops, _ = find_peaks(np.concatenate([[low], smooth, [low]]), prominence=settings.peak_from)
    peaks = sorted({_highest_near(tension, int(top) - 1) for top in tops})
    is_mere_opening = peaks[:1] == [0] and not _falls_off(smooth, settings.peak_from)
    return peaks[1:] if is_mere_opening else peaks


def _falls_off(smooth: np.ndarray, by: float) -> bool:
    """Return whether the first phrase is followed at once by one that is less tense by so much."""
    return bool(smooth[0] - smooth[1 : 1 + _OPENING_PHRASES].min() >= by)


def _highest_near(tension: np.ndarray, phrase: int) -> int:
    """Return the tensest of a phrase and its neighbours."""
    near = range(max(0, phrase - 1), min(len(tension), phrase + 2))
    return max(near, key=lambda each: tension[each])


def ends_on_peak(tension: np.ndarray, settings: TensionSettings) -> bool:
    """Return whether the last phrase is a peak and the tensest of the take."""
    peaks = peaks_of(tension, settings)
    last = len(tension) - 1
    return bool(peaks) and peaks[-1] == last and bool(tension[last] >= tension.max())


def _builds(smooth: np.ndarray, peaks: Sequence[int], settings: TensionSettings) -> Iterator[tuple[int, int]]:
    """Yield the first and last phrase of each build: back from a peak as far as the smoothed tension rose."""
    floor = 0
    for peak in peaks:
        first = lowest = top = _highest_near(smooth, peak)
        while first > floor and smooth[first - 1] <= smooth[first] + _NO_RISE:
            first -= 1
            if smooth[first] < smooth[lowest]:
                lowest = first
        rise = smooth[top] - smooth[lowest]
        if peak - lowest + 1 >= settings.build_phrases and rise >= settings.build_from:
            yield lowest, peak
        floor = peak


def _releases(
    phrases: Sequence[LabelledPhrase], tension: np.ndarray, peaks: Sequence[int], settings: TensionSettings
) -> Iterator[tuple[int, int]]:
    """Yield the peak and the phrase that releases it, which is not against the groove."""
    for peak in peaks:
        for after in range(peak + 1, min(len(phrases), peak + 1 + settings.release_phrases)):
            is_in = phrases[after].labels.groove is not Groove.AGAINST_GROOVE
            if is_in and tension[peak] - tension[after] >= settings.release_from:
                yield peak, after
                break


def _outs(phrases: Sequence[LabelledPhrase]) -> Iterator[Moment]:
    """Yield each run of phrases against the groove: from where it goes out until it is back in."""
    first: int | None = None
    for number, phrase in enumerate(phrases):
        out = phrase.labels.groove is Groove.AGAINST_GROOVE
        if out and first is None:
            first = number
        elif not out and first is not None:
            yield _out(phrases, first, phrase.start_s, number)
            first = None
    if first is not None:
        yield _out(phrases, first, phrases[-1].end_s, None)


def _out(phrases: Sequence[LabelledPhrase], first: int, end_s: float, back: int | None) -> Moment:
    devices = phrases[first].evidence.devices
    start_s = devices[0].start_s if devices else phrases[first].start_s
    return Moment(MomentKind.OUT, start_s, end_s, first, back)


def _span(kind: MomentKind, phrases: Sequence[LabelledPhrase], first: int, last: int) -> Moment:
    return Moment(kind, phrases[first].start_s, phrases[last].end_s, first, last)


def _release(phrases: Sequence[LabelledPhrase], peak: int, after: int) -> Moment:
    return Moment(MomentKind.RELEASE, phrases[peak].start_s, phrases[after].start_s, peak, after)


def _peak(phrases: Sequence[LabelledPhrase], peak: int, curve: tuple[np.ndarray, np.ndarray]) -> Moment:
    phrase, (times, values) = phrases[peak], curve
    first, last = np.searchsorted(times, [phrase.start_s, phrase.end_s])
    top_s = float(times[first + int(np.argmax(values[first:last]))]) if last > first else phrase.start_s
    return Moment(MomentKind.PEAK, top_s, phrase.end_s, peak, peak)
