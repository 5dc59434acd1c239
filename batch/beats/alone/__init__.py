"""The beats under a take's own notes, where nothing else tells them."""

from batch.beats.alone.track import track_notes

__all__ = ["track_notes"]
