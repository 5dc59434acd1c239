"""Beats found by listening: in a companion recording, or in the take itself."""

from batch.beats.pulse import Pulse

__all__ = ["Pulse"]
