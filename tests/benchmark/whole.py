"""The installed command on a folder of takes: what it says of each, and what that cost."""

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile as sf

from .making.takes import Line, Samples

COMMAND = Path(sys.executable).with_name("takemill")
LAUNCHER = Path(__file__).with_name("launch.py")
MOST_TOLD = 2000  # characters of what a command that failed had to say


@dataclass(frozen=True, slots=True)
class Cost:
    """What a process took: seconds on the clock, of the processor, and its peak memory in MiB."""

    wall_s: float
    cpu_s: float
    peak_mib: float


@dataclass(frozen=True, slots=True)
class Said:
    """What the command wrote of a take."""

    notes: Line
    confidence: float | None
    phrases: int
    warnings: tuple[str, ...]


def cost_of(command: Sequence[str | Path], **environment: str) -> Cost:
    """Run ``command`` to its end; children are counted with it.

    Raises
    ------
    RuntimeError
        If it ends with another status than 0.
    """
    words = [str(word) for word in command]
    with tempfile.NamedTemporaryFile("r", encoding="utf-8", suffix=".json") as measured:
        launcher = [sys.executable, "-I", "-S", str(LAUNCHER), measured.name]
        done = subprocess.run(
            [*launcher, *words], check=False, env=os.environ | environment, capture_output=True, text=True
        )
        if done.returncode:
            told = (done.stdout + done.stderr)[-MOST_TOLD:]
            raise RuntimeError(f"{' '.join(words)} ended with {done.returncode}:\n{told}")
        return Cost(**json.load(measured))


def said_of(takes: Mapping[str, tuple[Samples, int]]) -> dict[str, Said]:
    """Return what ``takemill run`` says of takes (samples and rate, by name)."""
    with tempfile.TemporaryDirectory() as folder:
        numbered = {name: f"take{at:03d}" for at, name in enumerate(takes)}
        for name, (samples, rate_hz) in takes.items():
            sf.write(Path(folder, f"{numbered[name]}.wav"), samples, rate_hz, subtype="FLOAT")
        out = Path(folder, "out")
        cost_of([COMMAND, "run", folder, "--out", out])
        return {
            name: said(json.loads((out / f"{stem}.analysis.json").read_text(encoding="utf-8")))
            for name, stem in numbered.items()
        }


def said(analysis: dict[str, Any]) -> Said:
    """Return what an analysis says, its remark on the missing or unsure beat left out."""
    notes = [(n["onset_s"], n["offset_s"], n["pitch_midi"]) for n in analysis["notes"]]
    sure = [n["confidence"] for n in analysis["notes"]]
    return Said(
        notes=np.array(notes, dtype=float).reshape(-1, 3),
        confidence=float(np.mean(sure)) if sure else None,
        phrases=len(analysis["phrases"]),
        warnings=tuple(w for w in analysis["warnings"] if not w.startswith(("no grid", "beat unsure"))),
    )
