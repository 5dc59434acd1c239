"""A playlist as XSPF 1, the XML Shareable Playlist Format."""

from batch.inert import inert
from exporters.links import address
from exporters.playlists.playlist import Playlist, Track

NAMESPACE = "http://xspf.org/ns/0/"
"""Of version 1 too (xspf.org, "XSPF Version 1", 4.1.1.1.1)."""


def render_xspf(playlist: Playlist) -> bytes:
    """Return the playlist as UTF-8, links as URI references.

    One that is relative is resolved against the place of the playlist (XSPF 1, 6.2; RFC 3986, 5.1.3), so that
    recordings and playlist may be moved together. ``trackNum`` is left out: it is the place on an album.
    """
    # Imported here: a run that writes no playlist does not wait for it.
    from xml.etree import ElementTree  # noqa: PLC0415

    root = ElementTree.Element("playlist", version="1", xmlns=NAMESPACE)
    ElementTree.SubElement(root, "title").text = inert(playlist.title)
    ElementTree.SubElement(root, "annotation").text = inert(playlist.note)
    tracks = ElementTree.SubElement(root, "trackList")
    for one in playlist.tracks:
        track = ElementTree.SubElement(tracks, "track")
        for name, text in _elements(one).items():
            if text:
                ElementTree.SubElement(track, name).text = text
    ElementTree.indent(root)
    return ElementTree.tostring(root, encoding="utf-8", xml_declaration=True) + b"\n"


def _elements(track: Track) -> dict[str, str | None]:
    """Return what a track element holds, in the order of the specification."""
    return {
        "location": address(track.link),
        "title": inert(track.title),
        "creator": inert(track.creator or ""),
        "annotation": inert(track.note or ""),
        "duration": None if track.duration_s is None else str(round(track.duration_s * 1000)),
    }
