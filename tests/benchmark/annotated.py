"""Takes and solos that others annotated, where they are at hand: beside the project, or where --data says.

DATA/takes and DATA/real hold sound with its notes; DATA/corpus holds solos as tables (DEVELOPERS.md).
"""

import csv
import json
from collections import defaultdict
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import numpy as np
import soundfile as sf
import soxr

from batch.hearing.training.noise import RATE_HZ

from .making.takes import Line, Planned, Take

MOST_S = 30.0  # of each take: pyin needs a minute of processor for six of sound
EDGE_S = 0.05  # a note that begins so shortly before the end is nobody's to hear


def annotated_takes(data: Path) -> Iterator[Planned]:
    """Yield ``takes/NAME.flac`` with the notes in ``NAME.truth.json``, mono, at RATE_HZ.

    NAME ends in the condition, after the last hyphen.
    """
    for truth in sorted((data / "takes").glob("*.truth.json")):
        name = truth.name.removesuffix(".truth.json")
        groups = ("annotated solos", f"annotated solos, {name.rsplit('-', 1)[-1]}")
        yield Planned(
            name, groups, partial(read_take, truth.with_name(f"{name}.flac"), groups, notes_in(truth))
        )


def notes_in(truth: Path) -> Line:
    """Return the notes of a ``NAME.truth.json``."""
    return np.array(json.loads(truth.read_text(encoding="utf-8"))["notes"], dtype=float)[:, :3]


def real_recordings(data: Path) -> Iterator[Planned]:
    """Yield ``real/NAME.flac`` once for each annotator in ``NAME.notes.csv``."""
    for table in sorted((data / "real").glob("*.notes.csv")):
        by_annotator = defaultdict(list)
        with table.open(encoding="utf-8", newline="") as lines:
            for row in csv.DictReader(lines):
                note = [float(row[column]) for column in ("onset_s", "offset_s", "pitch_midi")]
                by_annotator[row["annotator"]].append(note)
        sound = table.with_name(table.name.replace(".notes.csv", ".flac"))
        for annotator, notes in sorted(by_annotator.items()):
            groups = (f"real {sound.stem}, annotator {annotator}",)
            yield Planned(groups[0], groups, partial(read_take, sound, groups, np.array(notes)))


def read_take(path: Path, groups: tuple[str, ...], notes: Line) -> Take:
    """Return the start of a recording as every listener gets it: mono, at RATE_HZ, at most MOST_S."""
    rate = sf.info(path).samplerate
    samples, _ = sf.read(path, frames=int(MOST_S * rate), dtype="float32", always_2d=True)
    notes = np.minimum(notes[notes[:, 0] < MOST_S - EDGE_S], [np.inf, MOST_S, np.inf])
    mono = soxr.resample(samples.mean(axis=1), rate, RATE_HZ)
    return Take(path.stem, groups, np.asarray(mono, dtype=np.float32), RATE_HZ, notes)
