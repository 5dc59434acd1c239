"""Lines in the groove and against it, through the installed command: which are labelled right.

Every line is played with new pitches and human timing, at tempos from 60 to 260, once as MIDI
and once as sound by a sampled instrument; the tempo stands in the settings. A take counts as
right when the phrase with the most notes has the right label.
"""

import json
import tempfile
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import mido
import numpy as np
import soundfile as sf

from batch.hearing.training.noise import RATE_HZ
from batch.model import Note

from ..devices import AGAINST_GROOVE, IN_GROOVE, Line, perform, playable, swinging
from .making.banks import bank, on_bank
from .making.takes import seed_of
from .tables import Cell, Table
from .whole import COMMAND, cost_of

TEMPOS = (60, 96, 132, 176, 220, 260)
PROGRAMS = ((26, 0), (66, -7), (56, 0), (0, 0), (73, 12))  # General MIDI program from 0, semitones
SWING_RATIOS = (1.0, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0)
SWING_TEMPOS = (80, 100, 120, 150, 180, 210, 240)
SWING_BEATS = 64
HUMAN_S = (0.006, 0.012)
LEAD_BARS = 1
RINGS_S = 1.5
VELOCITY_OF_FULL_SCALE = 127


@dataclass(frozen=True, slots=True)
class Performed:
    """A line played once, its first downbeat at 0 s."""

    name: str
    kind: str
    line: Line
    tempo_bpm: int
    notes: tuple[Note, ...]
    program: tuple[int, int]

    @property
    def seconds(self) -> float:
        """How long it lasts until the last note has rung."""
        return self.notes[-1].offset_s + RINGS_S


def grooves_table(only: str) -> Table:
    """Return a row a line."""
    takes = [take for take in performances() if only in take.kind]
    with tempfile.TemporaryDirectory() as folder:
        as_midi = labelled(Path(folder, "midi"), takes, written_as_midi)
        as_sound = labelled(Path(folder, "sound"), takes, written_as_sound) if bank() else {}
    kinds = dict.fromkeys(take.kind for take in takes)
    rows = [row(kind, [take for take in takes if take.kind == kind], as_midi, as_sound) for kind in kinds]
    kinds_of = {take.line.against for take in takes}
    rows += [
        row(words, [take for take in takes if take.line.against is against], as_midi, as_sound)
        for words, against in (("ALL in the groove", False), ("ALL against it", True))
        if against in kinds_of
    ]
    columns = (
        "line",
        "takes",
        "midi: right",
        "midi: misses",
        "sound: right",
        "sound: misses",
        "sound: named so",
    )
    return Table(
        "grooves", columns, tuple(rows), ("Misses are tempos; named so: what the label was put down to.",)
    )


def swing_table(only: str) -> Table:
    """Return a row a swing ratio: how far off it is found."""
    takes = [take for take in swinging_takes() if only in take.kind]
    with tempfile.TemporaryDirectory() as folder:
        as_midi = analysed(Path(folder, "midi"), takes, written_as_midi) if takes else {}
        as_sound = analysed(Path(folder, "sound"), takes, written_as_sound) if takes and bank() else {}
    rows = []
    for kind in dict.fromkeys(take.kind for take in takes):
        mine = [take for take in takes if take.kind == kind]
        rows.append((kind, len(mine), *errors(mine, as_midi), *errors(mine, as_sound)))
    columns = (
        "swing", "takes", "midi: mean error", "midi: largest", "sound: mean error", "sound: largest",
    )  # fmt: skip
    return Table("swing", columns, tuple(rows), ("Ratio of long to short eighth; tempos of 80 to 240.",))


def errors(takes: Sequence["Performed"], found: dict[str, Any]) -> tuple[Cell, Cell]:
    """Return the mean error of the swing ratio, and the largest."""
    off = [found[take.name]["grid"]["swing_ratio"] - take.line.swing for take in takes if take.name in found]
    return (float(np.mean(off)), float(np.abs(off).max())) if off else (None, None)


def swinging_takes() -> Iterator["Performed"]:
    """Yield lines of 64 beats at every ratio and tempo, some laid back."""
    for ratio in SWING_RATIOS:
        for number, tempo in enumerate(SWING_TEMPOS):
            name = f"swing-{ratio:g}_4_4_{tempo}"
            rng = np.random.default_rng(seed_of(name))
            line = replace(swinging(ratio, SWING_BEATS, rng), lag_s=0.01 * (number % 4))
            notes = perform(line, tempo, rng, human_s=rng.uniform(*HUMAN_S), start_beats=4)
            yield Performed(name, f"swing {ratio:g}", line, tempo, notes, PROGRAMS[number % len(PROGRAMS)])


def performances() -> Iterator[Performed]:
    """Yield every line at every tempo at which it can be played."""
    for kind, line in (IN_GROOVE | AGAINST_GROOVE).items():
        for number, tempo in enumerate(TEMPOS):
            if playable(line, tempo):
                name = f"{kind.replace(' ', '-')}_{line.meter[0]}_{line.meter[1]}_{tempo}"
                rng = np.random.default_rng(seed_of(name))
                beats = LEAD_BARS * line.meter[0]
                notes = perform(line, tempo, rng, human_s=rng.uniform(*HUMAN_S), start_beats=beats)
                program = PROGRAMS[(number + len(kind)) % len(PROGRAMS)]
                yield Performed(name, kind, line, tempo, notes, program)


def row(
    kind: str, takes: Sequence[Performed], as_midi: dict[str, Any], as_sound: dict[str, Any]
) -> tuple[Cell, ...]:
    """Return the shares right, the tempos missed, and the names given."""
    cells: list[Cell] = [kind, len(takes)]
    for said in (as_midi, as_sound):
        wrong = [take for take in takes if take.name in said and not is_right(take, said[take.name])]
        told = [take for take in takes if take.name in said]
        cells.append(1 - len(wrong) / len(told) if told else None)
        few = kind in IN_GROOVE or kind in AGAINST_GROOVE
        cells.append(" ".join(str(take.tempo_bpm) for take in wrong) if few else len(wrong))
    names = [
        device["name"]
        for take in takes
        for device in as_sound.get(take.name, {}).get("evidence", {}).get("devices", ())
    ]
    most = sorted(set(names), key=lambda name: (-names.count(name), name))[:3]
    cells.append(", ".join(f"{name} {names.count(name)}" for name in most))
    return tuple(cells)


def is_right(take: Performed, phrase: dict[str, Any]) -> bool:
    """Return whether the phrase is labelled as its line is."""
    return (phrase.get("labels", {}).get("groove") == "against-groove") == take.line.against and bool(phrase)


def labelled(folder: Path, takes: Sequence[Performed], write: Any) -> dict[str, Any]:
    """Return the largest phrase of each take, as the command wrote it; an empty one where there is none."""
    return {
        name: max(analysis["phrases"], key=lambda phrase: phrase["evidence"]["note_count"], default={})
        for name, analysis in analysed(folder, takes, write).items()
    }


def analysed(folder: Path, takes: Sequence[Performed], write: Any) -> dict[str, Any]:
    """Return what the command writes of each take."""
    folder.mkdir()
    write(folder, takes)
    settings = {(take.tempo_bpm, take.line.meter) for take in takes}
    (folder / "takemill.toml").write_text(
        "".join(
            f'[takes."*_{n}_{d}_{tempo}.*"]\ntempo_bpm = {tempo}\nmeter = "{n}/{d}"\n'
            for tempo, (n, d) in settings
        ),
        encoding="utf-8",
    )
    cost_of([COMMAND, "run", folder, "--out", folder / "out"])
    return {
        take.name: json.loads((folder / "out" / f"{take.name}.analysis.json").read_text(encoding="utf-8"))
        for take in takes
    }


def written_as_midi(folder: Path, takes: Sequence[Performed]) -> None:
    """Write each as a Standard MIDI File with its own tempo and meter, and velocities from its loudness."""
    for take in takes:
        numerator, denominator = take.line.meter
        compound = denominator == 8 and numerator % 3 == 0 and numerator > 3
        quarter_us = round(60e6 / take.tempo_bpm / (1.5 if compound else 4 / denominator))
        midi = mido.MidiFile(type=0, ticks_per_beat=960)
        track = mido.MidiTrack()
        midi.tracks.append(track)
        track.append(mido.MetaMessage("set_tempo", tempo=quarter_us))
        track.append(mido.MetaMessage("time_signature", numerator=numerator, denominator=denominator))
        at = 0
        for time_s, message in sorted(messages(take), key=lambda timed: timed[0]):
            tick = round(time_s * 1e6 / quarter_us * 960)
            track.append(message.copy(time=tick - at))
            at = tick
        midi.save(folder / f"{take.name}.mid")


def written_as_sound(folder: Path, takes: Sequence[Performed]) -> None:
    """Write each as one instrument plays it; an instrument plays all its lines in one go."""
    by_program = defaultdict(list)
    for take in takes:
        by_program[take.program].append(take)
    for (program, _), mine in by_program.items():
        starts = np.concatenate([[0.0], np.cumsum([take.seconds for take in mine])])
        events: list[tuple[float, mido.Message]] = [(0.0, mido.Message("program_change", program=program))]
        for start, take in zip(starts[:-1], mine, strict=True):
            events += [(start + time_s, message) for time_s, message in messages(take)]
        sound = on_bank(sorted(events, key=lambda timed: timed[0]), float(starts[-1]))
        for start, take in zip(starts[:-1], mine, strict=True):
            part = sound[round(start * RATE_HZ) : round((start + take.seconds) * RATE_HZ)]
            sf.write(
                folder / f"{take.name}.wav", part / max(1.0, np.abs(part).max()), RATE_HZ, subtype="FLOAT"
            )


def messages(take: Performed) -> Iterator[tuple[float, mido.Message]]:
    """Yield note events."""
    for note in take.notes:
        pitch = int(note.pitch_midi) + take.program[1]
        # The inverse of 40 log10(velocity / 127), General MIDI 2.
        velocity = round(VELOCITY_OF_FULL_SCALE * 10 ** (note.loudness_db / 40))
        yield note.onset_s, mido.Message("note_on", note=pitch, velocity=velocity)
        yield note.offset_s, mido.Message("note_off", note=pitch, velocity=0)
