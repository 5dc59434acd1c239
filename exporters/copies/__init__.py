"""Copies of recordings that carry their phrases."""
