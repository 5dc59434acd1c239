"""Takes in their order for a player of recordings: XSPF and M3U8, of a ranking or of an output folder."""

from dataclasses import dataclass

from batch.overview import Overview
from exporters.playlists.m3u8 import is_writable, render_m3u8
from exporters.playlists.playlist import Playlist, Track, playlist_of_overview, playlist_of_ranking
from exporters.playlists.xspf import render_xspf

__all__ = [
    "Playlist",
    "PlaylistM3u8",
    "PlaylistXspf",
    "Track",
    "is_writable",
    "playlist_of_overview",
    "playlist_of_ranking",
    "render_m3u8",
    "render_xspf",
]


@dataclass(frozen=True, slots=True)
class PlaylistXspf:
    """The takes of an output folder, most varied first, as XSPF."""

    file_name: str = "playlist.xspf"

    def render(self, overview: Overview) -> bytes:
        """Return the playlist, with ways from the folder to the recordings."""
        return render_xspf(playlist_of_overview(overview))


@dataclass(frozen=True, slots=True)
class PlaylistM3u8:
    """The same as M3U8."""

    file_name: str = "playlist.m3u8"

    def render(self, overview: Overview) -> bytes:
        """Return the playlist, with ways from the folder to the recordings."""
        return render_m3u8(playlist_of_overview(overview))
