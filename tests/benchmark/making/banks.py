"""Lines played by the sampled instruments of a General MIDI bank of Debian's, through fluidsynth."""

import shutil
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import mido
import numpy as np
from numpy.typing import NDArray

from batch.hearing.training.noise import hum, mixed, pink
from batch.hearing.training.performers import played

from .company import BEND_RANGE, band, bends
from .takes import Line

SOUNDS = Path("/usr/share/sounds")
# The first is the one our networks were not fitted on. It descends from the second, though,
# and shares samples with it: it is another bank, not another orchestra.
BANKS = (
    "sf3/MuseScore_General_Lite.sf3",
    "sf2/FluidR3_GM.sf2",
    "sf2/TimGM6mb.sf2",
)
UNSEEN = BANKS[0]
CONDITIONS = ("clean", "noisy", "room", "bleed", "expressive")
NOISE_DB, HUM_DB, BLEED_DB = -28.0, -34.0, -14.0
ROOM = 0.5

Event = tuple[float, mido.Message]
Sound = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Instrument:
    """A General MIDI program (from 0) and the MIDI pitch its lines lie around."""

    family: str
    program: int
    centre: int


INSTRUMENTS = (
    Instrument("guitar", 26, 62),
    Instrument("guitar", 25, 60),
    Instrument("overdriven guitar", 29, 62),
    Instrument("overdriven guitar", 30, 60),
    Instrument("saxophone", 66, 58),
    Instrument("saxophone", 65, 65),
    Instrument("trumpet", 56, 66),
    Instrument("piano", 0, 66),
    Instrument("bass", 33, 40),
    Instrument("violin", 40, 72),
    Instrument("flute", 73, 76),
    Instrument("clarinet", 71, 62),
    Instrument("voice", 53, 62),
    Instrument("vibraphone", 11, 69),
    Instrument("organ", 19, 64),  # drawbar organs of the bank sound an octave lower than their keys
)


@cache
def bank() -> Path | None:
    """Return the bank to play with: the first there is, or None where fluidsynth or banks lack."""
    there = [SOUNDS / name for name in BANKS if (SOUNDS / name).is_file()]
    return there[0] if there and shutil.which("fluidsynth") else None


def about_bank() -> str:
    """Return one line on what plays and whether the networks know it."""
    playing = bank()
    if playing is None:
        return "no sampled instruments: install fluidsynth and musescore-general-soundfont-small"
    if playing == SOUNDS / UNSEEN:
        return f"sampled instruments: {playing.name}, not used in fitting (akin to FluidR3, which was)"
    return (
        f"sampled instruments: {playing.name}, WHICH THE NETWORKS WERE FITTED ON; install {Path(UNSEEN).name}"
    )


def on_bank(events: Iterable[Event], seconds: float, *, room: float = 0.0) -> Sound:
    """Return ``events`` (s, message) as fluidsynth plays them, (n,); ``room`` is its reverb's level."""
    playing = bank()
    if playing is None:
        raise FileNotFoundError(about_bank())
    return played(events, playing, seconds=seconds, room=room)


def events_of(rng: np.random.Generator, line: Line, program: int, *, bent: bool = False) -> Iterator[Event]:
    """Yield the events of ``line``: an even touch, with vibrato and scoops if ``bent``."""
    for control, value in ((101, 0), (100, 0), (6, int(BEND_RANGE))):  # the wheel's range
        yield 0.0, mido.Message("control_change", control=control, value=value)
    yield 0.0, mido.Message("program_change", program=program)
    touch = np.clip(rng.normal(88, 10, len(line)), 50, 120)
    for (onset, offset, pitch), velocity in zip(line, touch, strict=True):
        if bent:
            yield from bends(rng, onset, offset)
        yield onset, mido.Message("note_on", note=int(pitch), velocity=int(velocity))
        yield offset, mido.Message("note_off", note=int(pitch))


def performed(rng: np.random.Generator, line: Line, program: int, condition: str, seconds: float) -> Sound:
    """Return ``line`` on an instrument in one of the CONDITIONS."""
    events = list(events_of(rng, line, program, bent=condition == "expressive"))
    sound = on_bank(events, seconds, room=ROOM if condition == "room" else 0.0)
    if condition == "bleed":
        sound = mixed(sound, on_bank(band(rng), seconds, room=ROOM), BLEED_DB)
    if condition == "noisy":
        sound = mixed(sound, pink(rng, len(sound)), NOISE_DB)
        sound = mixed(sound, hum(rng, len(sound)), HUM_DB)
    return sound
