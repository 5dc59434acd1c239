"""Make what ``fit`` fits on: ``python -m batch.hearing.training.material CORPUS OUT [TAKES [FIRST]]``.

CORPUS holds ``notes.csv.gz`` (solo, onset_s, duration_s, pitch, ...), annotated solos. Written
are takes (``NAME.flac``) with what was played (``NAME.truth.json``), the same ones for the same
numbers. Two thirds are played by sampled instruments (``performers``): needs fluidsynth and the
General MIDI banks of Debian's named in BANKS. The rest is sung, blown, bowed and plucked by
``synthesis``, spoken (``speech``, which needs espeak-ng), or ``noise``.
"""

import json
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile as sf

from batch.hearing.training.company import band, drums, own_chords, strummed, ticks
from batch.hearing.training.effects import ANY, ELECTRIC, as_recorded, at_peak, some_of
from batch.hearing.training.lines import TAKE_S, Line, excerpt, practised, solos_in
from batch.hearing.training.noise import RATE_HZ, Samples, handling, mixed, nothing
from batch.hearing.training.performers import (
    CENTRES,
    MIDDLE,
    PROGRAMS,
    SLOW,
    STRUCK,
    Event,
    Touch,
    a_room,
    performance,
    played,
    program_of,
)
from batch.hearing.training.performers import ELECTRIC as ELECTRIC_PROGRAMS
from batch.hearing.training.speech import read_aloud, speech
from batch.hearing.training.synthesis import MANNERS, synthesised

SHARED = Path("/usr/share/sounds/sf2")  # where Debian keeps General MIDI banks
# A fourth one, MuseScore's (MuseScore_General_Lite.sf3), is left out: to check on.
BANKS = (
    *[SHARED / "FluidR3_GM.sf2"] * 4,
    *[SHARED / "TimGM6mb.sf2"] * 3,
    SHARED / "OPL-3_FM_128M.sf2",  # an FM chip's sounds: seldom
)
SYNTHESISED = ["sung"] * 7 + ["blown"] * 5 + ["bowed"] * 4 + ["plucked"] * 3
QUICK = ("blown", "plucked")  # may play bursts and staccato
EMPTY = ["speech"] * 2 + ["read aloud"] * 2 + ["nothing"] * 2
EVERY_SYNTHESISED = 3  # takes of which one is not played by sampled instruments
NOBODY_FROM = 900  # takes with this number or a higher one hold a click or drums, and no line


def rendered(rng: np.random.Generator, solos: list[Line], bank: Path) -> tuple[Samples, Line]:
    """Return a solo by a sampled instrument, alone or in company, and its notes."""
    program = int(rng.choice(PROGRAMS))
    events, line = _strums(rng, program) if _plays_chords(rng, program) else _solo(rng, solos, program)
    samples = played(events, bank, room=a_room(rng, 0.15))
    samples = some_of(rng, at_peak(samples), ELECTRIC if program in ELECTRIC_PROGRAMS else ANY)
    return in_company(rng, samples, bank), line


def _plays_chords(rng: np.random.Generator, program: int) -> bool:
    return program in STRUCK and rng.random() < 0.1  # noqa: PLR2004  share


def _strums(rng: np.random.Generator, program: int) -> tuple[list[Event], Line]:
    events, line = strummed(rng)
    return [program_of(program), *events], line


def _solo(rng: np.random.Generator, solos: list[Line], program: int) -> tuple[list[Event], Line]:
    centre = next((pitch for programs, pitch in CENTRES.items() if program in programs), MIDDLE)
    slower = rng.uniform(0.45, 0.75) if rng.random() < 0.15 else rng.uniform(0.9, 1.5)  # noqa: PLR2004
    slower = rng.uniform(1.3, 2.6) if program in SLOW else slower
    line = practised(rng, excerpt(rng, solos, slower=slower, centre=centre), quick=program not in SLOW)
    events, line = performance(rng, line, program, Touch.drawn(rng, program))
    if program in STRUCK and rng.random() < 0.12:  # noqa: PLR2004  share
        events += own_chords(rng, line)
    return events, line


def in_company(rng: np.random.Generator, samples: Samples, bank: Path) -> Samples:
    """Return ``samples`` alone, with a band as loud as itself or bleeding in, or with a click."""
    company = rng.random()
    if company < 0.17:  # noqa: PLR2004  share
        with_it, level_db = list(band(rng)), -rng.uniform(0.0, 14.0)
    elif company < 0.27:  # noqa: PLR2004
        with_it, level_db = list(band(rng)), -rng.uniform(10.0, 22.0)
    elif company < 0.35:  # noqa: PLR2004
        with_it, level_db = list(ticks(rng)), -rng.uniform(6.0, 24.0)
    else:
        return samples
    return mixed(samples, played(with_it, bank, room=a_room(rng, 0.5)), level_db)


def made_up(rng: np.random.Generator, solos: list[Line]) -> tuple[Samples, Line]:
    """Return a synthesised take and its notes; of speech and noise there are none."""
    kind = str(rng.choice(SYNTHESISED + EMPTY))
    if kind in EMPTY:
        makers: dict[str, Callable[..., Samples]] = {
            "speech": speech,
            "read aloud": read_aloud,
            "nothing": nothing,
        }
        return makers[kind](rng, int(TAKE_S * RATE_HZ)), np.empty((0, 3))
    manner = MANNERS[kind]
    line = excerpt(rng, solos, slower=rng.uniform(*manner.slower), centre=rng.choice(manner.centres))
    line = practised(rng, line, quick=kind in QUICK)
    samples, line = synthesised(rng, line, manner, int(TAKE_S * RATE_HZ))
    return some_of(rng, samples, ANY), line


def nobody(rng: np.random.Generator, bank: Path) -> tuple[Samples, Line]:
    """Return a click or drums with nobody playing: no notes."""
    events = list(ticks(rng)) if rng.random() < 0.7 else list(drums(rng, 60.0 / rng.uniform(80.0, 240.0)))  # noqa: PLR2004
    return played(events, bank, room=a_room(rng, 0.3)), np.empty((0, 3))


def take(number: int, solos: list[Line], banks: tuple[Path, ...] = BANKS) -> tuple[Samples, Line]:
    """Return take ``number`` and its notes: always the same."""
    rng = np.random.default_rng(number)
    if number >= NOBODY_FROM:
        samples, line = nobody(rng, banks[rng.integers(len(banks))])
    elif number % EVERY_SYNTHESISED == 0:
        samples, line = made_up(rng, solos)
    else:
        samples, line = rendered(rng, solos, banks[rng.integers(len(banks))])
    if rng.random() < 0.15:  # noqa: PLR2004  share
        samples = mixed(samples, handling(rng, len(samples)), -rng.uniform(6.0, 30.0))
    return as_recorded(rng, samples), line


def write(name: Path, samples: Samples, line: Line, peak: float) -> None:
    """Write one take and its truth."""
    sf.write(name.with_suffix(".flac"), at_peak(samples, peak), RATE_HZ)
    truth = json.dumps({"notes": np.round(line, 4).tolist()})
    name.with_suffix(".truth.json").write_text(truth, encoding="utf-8")


def main(corpus: str, out: str, takes: str = "892", first: str = "0") -> None:
    """Write ``takes`` takes to ``out``, beginning with number ``first``."""
    if missing := [str(bank) for bank in sorted(set(BANKS)) if not bank.exists()]:
        raise FileNotFoundError(
            f"no {', '.join(missing)}: install fluid-soundfont-gm, timgm6mb-soundfont and opl3-soundfont"
        )
    solos = solos_in(Path(corpus))
    Path(out).mkdir(parents=True, exist_ok=True)
    for number in range(int(first), int(first) + int(takes)):
        samples, line = take(number, solos)
        write(Path(out, f"take{number:05d}"), samples, line, 0.1 + 0.8 * (number * 0.618 % 1.0))


if __name__ == "__main__":
    main(*sys.argv[1:])
