"""Stretches of frames that one pitch holds, on their way to be notes."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batch.hearing.decode import GAP

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Spans:
    """Frames ``start`` to ``end`` (exclusive) at semitone index ``pitch``, each (n,), by start."""

    start: Ints
    end: Ints
    pitch: Ints

    def __len__(self) -> int:
        return len(self.start)

    @property
    def length(self) -> Ints:
        """How many frames each spans."""
        return self.end - self.start

    def at(self, pitch: Ints) -> "Spans":
        """Return the same spans at other pitches."""
        return Spans(self.start, self.end, pitch)

    def only(self, which: NDArray[np.bool_]) -> "Spans":
        """Return the spans where ``which`` holds."""
        return Spans(self.start[which], self.end[which], self.pitch[which])


def spans_of(state: NDArray[np.int16], starts: NDArray[np.bool_], shortest: int) -> Spans:
    """Cut decoded frames at every start and every silence; leave out what is under ``shortest`` frames."""
    edges = np.flatnonzero(starts | (np.diff(state, prepend=np.int16(GAP)) != 0))
    ends = np.append(edges[1:], len(state))
    pitch = state[edges].astype(np.int64)
    spans = Spans(edges.astype(np.int64), ends.astype(np.int64), pitch)
    return spans.only((pitch != GAP) & (spans.length >= shortest))


def merged(spans: Spans, begins: NDArray[np.bool_], reach: int) -> Spans:
    """Give every span that does not begin a note to the one it runs on from.

    One that follows more than ``reach`` frames of silence belongs to nobody and is left out.
    The pitch stays that of the first span: it is chosen anew afterwards.
    """
    end = spans.end.copy()
    owner = -1
    for at in range(len(spans)):
        if begins[at]:
            owner = at
        elif owner >= 0 and spans.start[at] - end[owner] < reach:
            end[owner] = spans.end[at]
    return Spans(spans.start, end, spans.pitch).only(begins)
