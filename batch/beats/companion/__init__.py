"""Beats and bars of a companion recording: the click or the backing that a player recorded along with."""

from batch.beats.companion.track import listen_to_companion, track_companion

__all__ = ["listen_to_companion", "track_companion"]
