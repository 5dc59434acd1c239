"""Links to recordings, as the formats that follow RFC 3986 have them."""

import sys
from urllib.parse import quote

_DRIVE = ":/"
"""What follows the letter of a Windows drive; ``a:b`` may be a file's name elsewhere."""


def address(way: str) -> str:
    """Return the URL of a file by the way to it, relative, or absolute on another drive (RFC 3986)."""
    if way.startswith("//"):  # a share: the machine's name is the host
        return f"file:{_quoted(way)}"
    if way.startswith("/"):
        return f"file://{_quoted(way)}"
    if way[1:].startswith(_DRIVE):
        return f"file:///{way[0]}:{_quoted(way[2:])}"
    return _quoted(way)


def _quoted(way: str) -> str:
    # A name that is no UTF-8 reaches Python with its bytes in surrogates (PEP 383): the link needs the bytes.
    return quote(way, errors=sys.getfilesystemencodeerrors())
