"""A playlist as M3U8: M3U in UTF-8 with the tags that players of recordings know.

Tags and text are as RFC 8216 ("HTTP Live Streaming", 4) has them. What a line names is a path and not a URI,
in which we depart from it: players on disks take ``%20`` for three characters (common practice, no source).
"""

from collections.abc import Iterator
from unicodedata import category, normalize

from batch.inert import inert
from exporters.playlists.playlist import Playlist, Track

_UNWRITABLE = frozenset({"Cc", "Zl", "Zp", "Cs"})
"""Control characters have no place in a playlist (RFC 8216, 4.1); at line and paragraph separators readers
end a line; a lone surrogate is a byte that is no UTF-8."""
_UNKNOWN = -1
"""Seconds of a recording whose length is not known (common practice, no source)."""
_DRIVE = ":/"


def is_writable(track: Track) -> bool:
    """Return whether a line can hold the way to a recording."""
    return not any(category(c) in _UNWRITABLE for c in track.link)


def render_m3u8(playlist: Playlist) -> bytes:
    """Return the playlist as UTF-8; a comment stands for a recording that no line can name."""
    lines = ["#EXTM3U", f"# {_text(playlist.note)}", f"#PLAYLIST:{_text(playlist.title)}"]
    for track in playlist.tracks:
        lines += _lines(track)
    return "".join(f"{line}\n" for line in lines).encode("utf-8")


def _lines(track: Track) -> Iterator[str]:
    """Yield a take's note and tag, and the way to it.

    Without the tag EXT-X-VERSION a playlist is of version 1, whose durations are whole seconds (4.3.1.2,
    4.3.2.1); readers end them at the first comma.
    """
    if not is_writable(track):
        yield f"# {_text(track.title)} is left out: no line can hold its name"
        return
    if track.note:
        yield f"# {_text(track.note)}"
    seconds = _UNKNOWN if track.duration_s is None else round(track.duration_s)
    title = f"{track.creator} - {track.title}" if track.creator else track.title
    yield f"#EXTINF:{seconds},{_text(title)}"
    yield _way(track.link)


def _way(link: str) -> str:
    """Return the way with ``./`` before what a reader would take for a comment, a scheme or a margin."""
    looks_like_scheme = ":" in link.partition("/")[0] and not link[1:].startswith(_DRIVE)
    return f"./{link}" if link.startswith("#") or link[:1].isspace() or looks_like_scheme else link


def _text(text: str) -> str:
    """Return inert text, composed (Normalization Form C; RFC 8216, 4.1)."""
    return normalize("NFC", inert(text))
