"""Beats found by listening: in a companion recording, or in the take itself."""

from batch.beats.alone import track_notes
from batch.beats.pulse import Pulse

__all__ = ["Pulse", "track_notes"]
