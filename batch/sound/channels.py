"""Which channels of a take to hear: their mix, unless that would bury the line or cancel it.

Decided from a few stretches spread over the take, so that a long one takes no longer.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from batch.settings import Channel
from batch.sound.centre import centred
from batch.sound.model import Floats

STRETCHES = 4
STRETCH_S = 5.0
"""Heard of a take of several channels before one is chosen: enough for ten clicks in each stretch."""
STRETCHES_ALONE = 8
STRETCH_ALONE_S = 0.25
"""Heard of a take of one channel, where only a constant offset is asked for."""
MOST_SAMPLES = 1 << 22
"""Samples of a stretch, all channels together."""

SILENT_BELOW_DB = -40.0
"""Against the loudest channel: mixing such a channel in would only make the line quieter (our choice)."""
CANCELLED_BELOW_DB = -10.0
"""A mix of two this far below its channels has lost the line (two unrelated channels lose 3 dB)."""
OFFSET_FROM = 1e-3
"""Constant offset that is taken out, of full scale: -60 dB. Notes that start alike have less of their own."""

_MIDDLE = (
    "only what left and right have in common was heard: something else than the line seems to be spread"
    ' around it (sound.channel = "mix" in takemill.toml hears all)'
)

FRAME_S = 0.01
ACTIVE_DB = -25.0  # against the channel's loud frames: a click has decayed
CLICK_LONGEST_S = 0.09
CLICK_SHARE = 0.35  # of the time, at most: clicks leave the rest silent
CLICKS_FROM = 4
CLICK_STRAY = 0.06  # of the shortest interval: a machine's clicks stand on a lattice

SOUNDING_SHARE = 0.01  # of the loudest frame's power
LINE_WINDOW_S = 0.05
LINE_RATE_HZ = 8_000
LINE_LAGS = (8, 100)  # at LINE_RATE_HZ: 1000 to 80 Hz
LINE_AHEAD = 0.2  # how much more periodic than the others a line is that stands alone on its channel
UNRELATED_BELOW = 0.4  # correlation

MIDDLE_FROM = 0.7  # correlation of left and right: less, and a line's own width would be cut away
SAME_FROM = 0.995  # correlation: what is spread is 26 dB down
SIDES_ALIKE = 0.9  # of their spectra: more, and what is spread is the line's own room, not a backing
SIDES_HEARD_S = 2.0  # s of each stretch in which that is looked at
SIDES_WINDOW_S = 0.046
SIDES_BINS = slice(4, 240)  # of that window: 90 Hz to 5 kHz


@dataclass(frozen=True, slots=True)
class Choice:
    """The channels to average, from 0, with their constant offsets; ``reason`` if it is not the plain mix."""

    channels: tuple[int, ...]
    offsets: tuple[float, ...]
    of: int
    reason: str | None = None
    middle: bool = False
    """Whether not their average is heard but what both carry alike (``centre``)."""

    def heard(self, picked: Iterable[Floats], rate_hz: int) -> Iterator[Floats]:
        """Yield blocks of the chosen channels (n, chosen) as mono (m,)."""
        return centred(picked, rate_hz) if self.middle else map(self.mixed, picked)

    def picked(self, block: Floats) -> Floats:
        """Return the chosen channels of ``block`` (n, channels) as they are."""
        return block if len(self.channels) == self.of else block[:, list(self.channels)]

    def mixed(self, picked: Floats) -> Floats:
        """Return ``picked`` (n, chosen) as mono, its constant offset taken out."""
        count = len(self.channels)
        mono = picked[:, 0] if count == 1 else picked @ np.full(count, 1 / count, np.float32)
        offset = sum(self.offsets) / count
        return mono if abs(offset) < OFFSET_FROM else mono - np.float32(offset)


@dataclass(frozen=True, slots=True)
class Heard:
    """What the stretches tell of each channel, one number a channel.

    ``products`` (c, c) are the mean products of channels with one another; ``periodic`` is the
    median height of the autocorrelation's peak where the channel sounds, and ``sides_alike`` how
    far the spectrum of a stereo take's sides, 0 to 1, is that of its middle.
    """

    offsets: np.ndarray
    products: np.ndarray
    clicks: tuple[bool, ...]
    periodic: np.ndarray
    sides_alike: float = 1.0

    @property
    def power(self) -> np.ndarray:
        """Mean power of each channel."""
        return np.diag(self.products)


def choose(stretches: Iterable[Floats], channels: int, rate_hz: int, wanted: Channel) -> Choice:
    """Return what to hear of a take.

    Parameters
    ----------
    stretches : iterable of ndarray, shape (n, channels)
        Pieces of the take, in order.
    wanted : "auto", "mix", "left", "right", or a number from 1
        A channel that is there.
    """
    heard = hear(stretches, channels, rate_hz)
    if wanted == "auto":
        chosen, reason = _choose(heard) if channels > 1 else ([0], None)
        middle = reason is None and _stands_in_the_middle(heard)
    else:
        chosen, reason, middle = _asked(channels, wanted), None, False
    offsets = tuple(float(heard.offsets[c]) for c in chosen)
    return Choice(tuple(chosen), offsets, channels, _MIDDLE if middle else reason, middle)


def where_to_listen(frames: int, channels: int, rate_hz: int) -> tuple[list[int], int]:
    """Return the first frames of the stretches to hear of a take, and their length."""
    count, length_s = (STRETCHES, STRETCH_S) if channels > 1 else (STRETCHES_ALONE, STRETCH_ALONE_S)
    length = max(1, min(round(length_s * rate_hz), MOST_SAMPLES // channels, frames // count))
    return [round((frames - length) * k / (count - 1)) for k in range(count)], length


def number_of(wanted: Channel) -> int | None:
    """Return the number from 1 of the one channel that is wanted; None where that is not settled."""
    named = {"left": 1, "right": 2, "auto": None, "mix": None}
    return named[wanted] if isinstance(wanted, str) else wanted


def _asked(channels: int, wanted: Channel) -> list[int]:
    number = number_of(wanted)
    return list(range(channels)) if number is None else [number - 1]


def _choose(heard: Heard) -> tuple[list[int], str | None]:
    every = list(range(len(heard.offsets)))
    if not heard.power.max() > 0:
        return every, None
    sounding, why = _sounding(heard, every)
    played = [c for c in sounding if not heard.clicks[c]]
    if played and len(played) < len(sounding):
        why.append(f"{_named([c for c in sounding if heard.clicks[c]])} only a click")
        sounding = played
    if (line := _line_alone(heard, sounding)) is not None:
        others = [c for c in sounding if c != line]
        why.append(f"{_named(others)} something else than a single line")
        sounding = [line]
    if _cancels(heard, sounding):
        sounding = [int(max(sounding, key=lambda c: heard.power[c]))]
        return sounding, _told(sounding, ["the channels cancel one another when mixed"])
    return sounding, _told(sounding, why) if why else None


def _sounding(heard: Heard, every: list[int]) -> tuple[list[int], list[str]]:
    loudest = float(heard.power.max())
    sounding = [c for c in every if heard.power[c] > loudest * 10 ** (SILENT_BELOW_DB / 10)]
    silent = [c for c in every if c not in sounding]
    return sounding, [f"{_named(silent)} next to nothing"] if silent else []


def _line_alone(heard: Heard, sounding: list[int]) -> int | None:
    """Return the channel that holds a line while all others hold something unrelated, less periodic."""
    if len(sounding) == 1:
        return None
    line = max(sounding, key=lambda c: heard.periodic[c])
    for other in sounding:
        shared = abs(heard.products[line, other]) / np.sqrt(heard.power[line] * heard.power[other])
        if other != line and (
            shared > UNRELATED_BELOW or heard.periodic[other] > heard.periodic[line] - LINE_AHEAD
        ):
            return None
    return line


def _stands_in_the_middle(heard: Heard) -> bool:
    """Return whether a stereo take holds something in the middle, and something else spread around it."""
    return _related(heard.products) and heard.sides_alike < SIDES_ALIKE


def _related(products: np.ndarray) -> bool:
    """Return whether left and right are alike enough to have a middle, and are not the same."""
    if len(products) != 2 or not products.diagonal().min() > 0:  # noqa: PLR2004  stereo
        return False
    return bool(MIDDLE_FROM <= products[0, 1] / np.sqrt(products[0, 0] * products[1, 1]) < SAME_FROM)


def _cancels(heard: Heard, chosen: list[int]) -> bool:
    """Return whether the mix lies far below its channels, beyond what unrelated channels lose."""
    count = len(chosen)
    power = heard.power[chosen].mean()
    if count == 1 or power <= 0:
        return False
    mixed = heard.products[np.ix_(chosen, chosen)].sum() / count**2
    return bool(mixed < power * 10 ** (CANCELLED_BELOW_DB / 10) * 2 / count)


def _named(channels: list[int]) -> str:
    numbers = [str(c + 1) for c in channels]
    if len(numbers) == 1:
        return f"channel {numbers[0]} holds"
    return f"channels {', '.join(numbers[:-1])} and {numbers[-1]} hold"


def _told(chosen: list[int], why: list[str]) -> str:
    numbers = [str(c + 1) for c in chosen]
    heard = f"channel {numbers[0]}" if len(numbers) == 1 else f"channels {', '.join(numbers)}"
    return f"only {heard} was heard: {'; '.join(why)} (sound.channel in takemill.toml chooses another)"


def hear(stretches: Iterable[Floats], channels: int, rate_hz: int) -> Heard:
    """Measure every channel in ``stretches``."""
    offsets, products, total = [np.zeros(channels)], np.zeros((channels, channels)), 0
    levels: list[list[np.ndarray]] = [[] for _ in range(channels)]
    periodic: list[list[np.ndarray]] = [[np.zeros(0)] for _ in range(channels)]
    alike = [np.zeros(0)]
    for stretch in stretches:
        if not len(stretch) or not np.isfinite(stretch).all():
            continue
        offset = _offset(stretch)
        offsets.append(offset)
        if channels == 1:
            continue
        steady = np.ascontiguousarray((stretch - offset.astype(np.float32)).T)
        shared = steady @ steady.T
        products += shared
        total += len(stretch)
        if _related(shared):
            alike.append(_sides_alike(steady[:, : round(SIDES_HEARD_S * rate_hz)], rate_hz))
        for c in range(channels):
            levels[c].append(_levels_db(steady[c], rate_hz))
            periodic[c].append(_periodic(steady[c], rate_hz))
    return Heard(
        offsets=np.median(offsets[1:] or offsets, axis=0),
        products=products / max(total, 1),
        clicks=tuple(_clicks(of_channel) for of_channel in levels),
        periodic=np.array([np.median(p) if len(p := np.concatenate(parts)) else 0.0 for parts in periodic]),
        sides_alike=float(np.median(a)) if len(a := np.concatenate(alike)) else 1.0,
    )


def _sides_alike(steady: Floats, rate_hz: int) -> np.ndarray:
    """Return the cosine between the spectra of middle and sides in each sounding frame of ``steady`` (2, n).

    Of square roots of magnitudes, so that not the loudest partial decides alone.
    """
    length = round(SIDES_WINDOW_S * rate_hz)
    window = np.hanning(length).astype(np.float32)
    left, right = (np.fft.rfft(_framed(side, length) * window)[:, SIDES_BINS] for side in steady)
    middle, sides = np.abs(left + right), np.abs(left - right)
    power = np.einsum("ij,ij->i", middle, middle)
    sounding = power > power.max(initial=0.0) * SOUNDING_SHARE
    lengths = np.sqrt(middle.sum(axis=1) * sides.sum(axis=1)) + 1e-12
    return np.asarray(np.einsum("ij,ij->i", np.sqrt(middle), np.sqrt(sides)) / lengths)[sounding]


def _offset(stretch: Floats) -> np.ndarray:
    """Return the constant offset of each channel: a mean under a Hann window, deaf to all that sounds."""
    window = np.hanning(len(stretch) + 2)[1:-1].astype(np.float32)
    return np.asarray(window @ stretch / window.sum())


def _framed(samples: Floats, length: int) -> Floats:
    count = len(samples) // length
    return samples[: count * length].reshape(count, length)


def _levels_db(samples: Floats, rate_hz: int) -> np.ndarray:
    frames = _framed(samples, max(1, round(FRAME_S * rate_hz)))
    return np.asarray(10.0 * np.log10(np.einsum("ij,ij->i", frames, frames) / frames.shape[1] + 1e-12))


def _clicks(stretches_db: list[np.ndarray]) -> bool:
    """Return whether the levels (one array a stretch) show only short bursts on a lattice in time."""
    levels = np.concatenate(stretches_db) if stretches_db else np.zeros(0)
    if not len(levels):
        return False
    loud = np.sort(levels)[-CLICKS_FROM:][0] + ACTIVE_DB
    if np.mean(levels > loud) > CLICK_SHARE:
        return False
    lengths, gaps = [], []
    for stretch in stretches_db:
        edges = np.diff(np.concatenate([[0], (stretch > loud).astype(np.int8), [0]]))
        starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
        lengths.append((ends - starts) * FRAME_S)
        gaps.append(np.diff(starts) * FRAME_S)
    bursts, between = np.concatenate(lengths), np.concatenate(gaps)
    if len(bursts) < CLICKS_FROM or not len(between) or np.quantile(bursts, 0.9) > CLICK_LONGEST_S:
        return False
    step = np.median(between)
    stray = np.abs(between / step - np.round(between / step))
    return bool(step > CLICK_LONGEST_S and np.quantile(stray, 0.8) < CLICK_STRAY)


def _periodic(samples: Floats, rate_hz: int) -> np.ndarray:
    """Return how periodic each sounding frame is: its autocorrelation's peak at the lags of a line."""
    step = max(1, rate_hz // LINE_RATE_HZ)
    slow = _framed(samples, step).mean(axis=1)  # a crude low-pass: only strengths are compared
    length = round(LINE_WINDOW_S * rate_hz / step)
    frames = _framed(slow, length)
    power = np.einsum("ij,ij->i", frames, frames)
    frames = frames[power > power.max(initial=0.0) * SOUNDING_SHARE] if len(power) else frames
    if not len(frames):
        return np.zeros(0)
    spectrum = np.fft.rfft(frames, 2 * length)
    autocorrelation = np.fft.irfft(spectrum.real**2 + spectrum.imag**2)[:, : LINE_LAGS[1]]
    tapered = autocorrelation / (1.0 - np.arange(autocorrelation.shape[1]) / length)
    tapered /= np.maximum(tapered[:, :1], 1e-12)
    # Only after the first dip: near lag zero everything is like itself.
    fell = np.minimum.accumulate(tapered, axis=1) < 0.5 * tapered
    return np.asarray(np.where(fell, tapered, 0.0)[:, LINE_LAGS[0] :].max(axis=1))
