"""How much freed memory the C library keeps for the next time."""

import ctypes
from functools import cache

_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3
"""Of mallopt, in glibc's malloc.h."""
_LARGEST = 32 << 20
"""Bytes. What glibc comes to by itself after blocks of that size were freed, unless it was told otherwise."""


@cache
def keep_freed() -> None:
    """Keep blocks as large as the hearing uses, for the rest of this process.

    Dask's nanny tells glibc to give all back at once (MALLOC_TRIM_THRESHOLD_). To get it again from the
    system as often as the hearing asks costs as much as the hearing, measured.
    """
    try:
        mallopt = ctypes.CDLL(None).mallopt
    except (OSError, TypeError, AttributeError):
        return  # another C library, which does as it does
    mallopt(_MMAP_THRESHOLD, _LARGEST)
    mallopt(_TRIM_THRESHOLD, 2 * _LARGEST)
