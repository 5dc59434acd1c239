"""Kinds of click that a player records along with; of each, as many draws as are asked for."""

import zlib
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from .clicking import SOUNDS, Clicked, Plan, as_sound, clicked, noisy, put, spoken

SECONDS = 40.0
ACCENTS = ("pitch", "level", "both", "lower", "none")
Draw = Callable[[np.random.Generator], Clicked]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A click and what its player states: the meter, and the tempo where a kind needs it."""

    click: Clicked
    meter: tuple[int, int] | None
    tempo_bpm: float | None = None


def drawn(kind: str, at: int) -> Drawn:
    """Return draw ``at`` of a kind in KINDS."""
    return KINDS[kind](np.random.default_rng([zlib.crc32(kind.encode()), at]))


def plan(rng: np.random.Generator, low_bpm: float = 40.0, high_bpm: float = 260.0, **given: object) -> Plan:
    """Return a plan drawn from all sounds, accents, meters and tempos, but for what is given."""
    tempo = float(np.exp(rng.uniform(np.log(low_bpm), np.log(high_bpm))))
    beats = int(rng.choice([2, 3, 4, 4, 4, 5, 7]))
    chosen: dict[str, object] = {
        "tempo_bpm": tempo,
        "beats_per_bar": beats,
        "sound": str(rng.choice(list(SOUNDS))),
        "accent": str(rng.choice(ACCENTS)),
        "lead_in_s": float(rng.uniform(0.05, 1.5)),
        **given,
    }
    bars = max(6, int(SECONDS * tempo / 60 / int(str(chosen["beats_per_bar"]))))
    return Plan(**{"bars": bars, **chosen})  # type: ignore[arg-type]  # drawn and given alike are a plan's


def with_meter(one: Plan, changed: Callable[[Clicked], Clicked] = lambda click: click) -> Drawn:
    """Return the click that is planned, its meter stated."""
    return Drawn(changed(clicked(one)), (one.beats_per_bar, 4))


def counted_in(rng: np.random.Generator, click: Clicked) -> Clicked:
    """Return ``click`` after four spoken numbers in time, as far as people speak in time."""
    beat_s = float(click.beats_s[1] - click.beats_s[0])
    words_s = [click.beats_s[0] + k * beat_s + rng.normal(0, 0.02) for k in range(4)]
    sound = np.concatenate([np.zeros(round(4 * beat_s * click.rate_hz)), click.samples])
    put(sound, spoken(click.rate_hz, words_s, seed=int(rng.integers(1 << 30))), 0.0, click.rate_hz)
    late_s = round(4 * beat_s * click.rate_hz) / click.rate_hz
    return replace(click, samples=as_sound(sound), beats_s=click.beats_s + late_s)


def faint(click: Clicked) -> Clicked:
    """Return ``click`` at -50 dB, in steps of 16 bits."""
    samples = np.round(click.samples * 2 * 10 ** (-50 / 20) * 32768) / 32768
    return replace(click, samples=samples.astype(np.float32))


def overdriven(click: Clicked) -> Clicked:
    """Return ``click`` cut off 18 dB under its peaks."""
    return replace(click, samples=np.clip(click.samples * 8, -0.5, 0.5).astype(np.float32))


def divided(rng: np.random.Generator, parts: int, high_bpm: float, **given: object) -> Plan:
    """Return a plan with softer strokes between the beats."""
    return plan(rng, 45, high_bpm, parts=parts, beats_per_bar=4, softer_db=float(rng.uniform(4, 12)), **given)


def bent(rng: np.random.Generator, factors: tuple[float, ...], *, at_once: bool) -> Plan:
    """Return a plan whose tempo goes to another over the file, or in its middle."""
    factor = float(rng.choice(factors))
    middle = ((0.4999, 1.0), (0.5, factor)) if at_once else ()
    return plan(rng, 70, 180, bend=((0.0, 1.0), *middle, (1.0, factor)))


def on_two_and_four(rng: np.random.Generator, *, stated: bool) -> Drawn:
    """Return a click on 2 and 4."""
    one = plan(rng, heard=(2, 4), beats_per_bar=4, accent="none")
    return Drawn(clicked(one), (4, 4), one.tempo_bpm if stated else None)


def on_one(rng: np.random.Generator, *, stated: bool) -> Drawn:
    """Return a click on the first beat of each bar."""
    one = plan(rng, heard=(1,), beats_per_bar=int(rng.choice([3, 4])), accent="none", bars=24)
    return Drawn(clicked(one), (one.beats_per_bar, 4), one.tempo_bpm if stated else None)


def gapped(rng: np.random.Generator) -> Drawn:
    """Return a click that is silent for some bars."""
    silent = ((3, 4), (2, 5, 6, 7, 9), (4, 5, 6, 7))[int(rng.integers(3))]
    one = plan(rng, silent_bars=silent)
    return with_meter(replace(one, bars=max(one.bars, 12)))


KINDS: dict[str, Callable[[np.random.Generator], Drawn]] = {
    "plain": lambda rng: with_meter(plan(rng)),
    "meter not stated": lambda rng: replace(with_meter(plan(rng)), meter=None),
    "noise at -25 dB": lambda rng: with_meter(plan(rng), lambda c: noisy(c, 25)),
    "noise at -15 dB": lambda rng: with_meter(plan(rng), lambda c: noisy(c, 15)),
    "at -50 dB": lambda rng: with_meter(plan(rng), faint),
    "clipped": lambda rng: with_meter(plan(rng), overdriven),
    "spoken count-in": lambda rng: with_meter(plan(rng, 60, 200), lambda c: counted_in(rng, c)),
    "eighths": lambda rng: with_meter(divided(rng, 2, 160)),
    "eighths, meter not stated": lambda rng: replace(with_meter(divided(rng, 2, 160)), meter=None),
    "triplets": lambda rng: with_meter(divided(rng, 3, 130)),
    "eighths of 12/8, one accent": lambda rng: Drawn(
        clicked(plan(rng, 45, 110, beats_per_bar=4, parts=3, softer_db=0.0, accent="pitch")), (12, 8)
    ),
    "on 2 and 4, tempo stated": lambda rng: on_two_and_four(rng, stated=True),
    "on 2 and 4": lambda rng: on_two_and_four(rng, stated=False),
    "on 1, tempo stated": lambda rng: on_one(rng, stated=True),
    "on 1": lambda rng: on_one(rng, stated=False),
    "silent bars": gapped,
    "ramp": lambda rng: with_meter(bent(rng, (0.6, 1.5), at_once=False)),
    "change of tempo": lambda rng: with_meter(bent(rng, (0.7, 0.8, 1.25, 1.4), at_once=True)),
    "by hand, 6 ms": lambda rng: with_meter(plan(rng, jitter_s=0.006)),
}
