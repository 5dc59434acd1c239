"""Beats found by listening: in a companion recording (``companion``), or in the take's own notes (``alone``).

What listens loads when it is needed; ``pulse`` is what it finds.
"""
