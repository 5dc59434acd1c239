"""How often Python looks for garbage that counting references does not find."""

import gc

_NEW_OBJECTS = 50_000
"""Between two looks. At Python's own 700 (2,000 from 3.12 on) loading the numeric libraries takes a
tenth longer, measured; the garbage of so many small objects is a few megabytes."""


def look_seldom() -> None:
    """Let Python look for cyclic garbage seldom, for the rest of this process."""
    gc.set_threshold(_NEW_OBJECTS)
