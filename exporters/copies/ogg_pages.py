"""Pages of an Ogg file written by mutagen in a time that grows with the file, not with its square.

It offers no other way than to replace two of its functions; whoever imports this has them.
"""

from collections.abc import Sequence
from types import SimpleNamespace
from typing import Any, BinaryIO

from mutagen.ogg import OggPage

_USUAL_PAGE, _LARGE_PAGE, _LARGE_PACKETS = 4096, 30_000, 1 << 20
"""Bytes of a page as mutagen has it, and for packets larger than that so many that none of its pages, up to
twice as large, holds more than a page can (RFC 3533, 6)."""


_replace_one_by_one = OggPage.replace


def _replace_at_once(stream: BinaryIO, old: Sequence[Any], new: Sequence[Any]) -> None:
    """Put pages in the place of others, which hold the same stream's comments and lie side by side.

    mutagen moves all that lies behind at each page whose size changes, an hour's sound a hundred times for
    one picture. Told that a single page as large as all is replaced, it moves that once.
    """
    first, last = old[0], old[-1]
    size = sum(page.size for page in old)
    if last.offset + last.size != first.offset + size:
        raise ValueError("comments with another stream between their pages")
    if [page.size for page in old] != [page.size for page in new]:
        old = [
            SimpleNamespace(
                offset=first.offset,
                size=size,
                serial=first.serial,
                sequence=first.sequence,
                first=first.first,
                continued=first.continued,
                last=last.last,
                complete=last.complete,
            )
        ]
    _replace_one_by_one(stream, old, new)  # type: ignore[no-untyped-call]


_pages_of_any = OggPage.from_packets


def _pages_of(packets: Sequence[bytes], sequence: int = 0) -> Any:
    """Return packets in pages, large ones in large: mutagen copies what is left of a packet at each."""
    size = _LARGE_PAGE if sum(map(len, packets)) > _LARGE_PACKETS else _USUAL_PAGE
    return _pages_of_any(packets, sequence, size)  # type: ignore[no-untyped-call]


OggPage.replace = _replace_at_once  # type: ignore[method-assign]
OggPage.from_packets = _pages_of  # type: ignore[method-assign,assignment]
