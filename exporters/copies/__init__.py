"""Copies of a recording that carry its phrases inside; the recording itself is only read."""
