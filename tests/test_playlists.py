"""Playlists as other programs read them: XSPF by lxml and xspf-lib, M3U8 by the package m3u8."""

import os
import re
import shutil
import sqlite3
import subprocess
from dataclasses import replace
from pathlib import Path
from urllib.parse import unquote, unquote_to_bytes, urljoin, urlsplit

import m3u8
import pytest
import xspf_lib
from conftest import COMMAND
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree
from mutagen.flac import FLAC
from ranking import done, ranked
from sounding import line, write_midi_take, write_take
from xspf_grammar import XSPF_1

from batch.catalogue_file import FILE_NAME
from batch.names import MADE_BY
from batch.outline import Outline
from batch.overview import Listed, Overview
from exporters.playlists import (
    Playlist,
    PlaylistM3u8,
    PlaylistXspf,
    Track,
    is_writable,
    playlist_of_ranking,
    render_m3u8,
    render_xspf,
)
from exporters.ranking import OURS

NS = {"x": "http://xspf.org/ns/0/"}
HOSTILE = "=1,\r\n#EXTM3U,x\u2028</title><b>&\x00\x1b\u202e夜"
RANKED = ranked(
    [
        done("b.wav", 20.0, title="Blues"),
        done("a, b.wav", 80.0),
        done("short.mid", None, duration_s=0.4, parts={}, why_null="fewer than 4 phrases"),
    ]
)


def playlist(*tracks: Track, title: str = "friday by variety") -> Playlist:
    return Playlist(title, f"{MADE_BY}: most varied first", tracks)


def of_ranking(takes=RANKED, by: str = "variety", players=None) -> Playlist:
    links = [f"../{take.entry.path.name}" for take in takes]
    return playlist_of_ranking("friday", takes, by, links, players or {})


def read_xspf(content: bytes) -> etree._Element:
    """Return the root of a playlist that the rules of XSPF 1 allow."""
    root = etree.fromstring(content)
    XSPF_1.assertValid(root)
    return root


def tracks_of(content: bytes) -> list[dict[str, str]]:
    found = read_xspf(content).iterfind("x:trackList/x:track", NS)
    return [{etree.QName(child).localname: child.text for child in track} for track in found]


def read_m3u8(content: bytes) -> list[tuple[str, float, str]]:
    """Return path, seconds and title of each take."""
    return [(one.uri, one.duration, one.title) for one in m3u8.loads(content.decode()).segments]


TRACK = "x:trackList/x:track"


# XSPF 1, 4.1.1.2: "playlist elements MUST contain one and only one trackList"; a track's duration "MUST be a
# valid XML Schema nonNegativeInteger"; a title may be there once.
@pytest.mark.parametrize(
    "spoil",
    [
        lambda root: root.remove(root.find("x:trackList", NS)),
        lambda root: setattr(root.find(f"{TRACK}/x:duration", NS), "text", "61.2"),
        lambda root: etree.SubElement(root.find(TRACK, NS), f"{{{NS['x']}}}title"),
        lambda root: etree.SubElement(root.find(TRACK, NS), f"{{{NS['x']}}}score"),
        lambda root: root.attrib.pop("version"),
    ],
)
def test_the_grammar_knows_what_is_no_xspf(spoil):
    root = read_xspf(render_xspf(of_ranking()))
    spoil(root)
    assert not XSPF_1.validate(root)


def test_xspf_plays_the_recordings_in_order_with_what_is_known_of_each():
    first, second, third = tracks_of(render_xspf(of_ranking(players={Path("/gig/b.wav"): "Ada Quill"})))
    assert first == {
        "location": "../a%2C%20b.wav",
        "title": "a, b.wav",
        "annotation": "place 1, variety 80 (75 to 85)",
        "duration": "61234",  # milliseconds; 61.2345 s lies halfway, and Python rounds to even
    }
    assert (second["title"], second["creator"]) == ("Blues", "Ada Quill")
    assert third["annotation"] == "no variety score: fewer than 4 phrases"


def test_xspf_says_what_it_is_and_who_made_it():
    root = read_xspf(render_xspf(of_ranking(by="interval_size")))
    assert root.findtext("x:title", "", NS) == "friday by interval size"
    assert root.findtext("x:annotation", "", NS) == "Made by takemill: by interval size, highest first"


def test_a_part_that_was_not_measured_is_said_so():
    (track,) = tracks_of(render_xspf(of_ranking(ranked([done("a.wav", 50.0)], by="groove"), "groove")))
    assert track["annotation"] == "groove not measured, variety 50 (45 to 55)"


def test_xspf_lib_reads_the_same_playlist(tmp_path):
    (tmp_path / "p.xspf").write_bytes(render_xspf(of_ranking(players={Path("/gig/b.wav"): "Ada Quill"})))
    read = xspf_lib.Playlist.parse(tmp_path / "p.xspf")
    assert read.title == "friday by variety"
    assert [track.location for track in read.trackList] == [["../a, b.wav"], ["../b.wav"], ["../short.mid"]]
    assert [track.title for track in read.trackList] == ["a, b.wav", "Blues", "short.mid"]
    assert [track.creator for track in read.trackList] == [None, "Ada Quill", None]
    assert [track.duration for track in read.trackList] == [61234, 61234, 400]


# RFC 3986: outside its reserved and unreserved characters everything is percent-encoded (2.1), and the first
# segment of a relative reference has no colon (4.2).
@pytest.mark.parametrize(
    "name", ["Ä – 夜.wav", "a b#c?d%20&.wav", "<solo>.wav", "take: 1.wav", "file:x.wav", "a\\b.wav"]
)
@pytest.mark.parametrize("folder", ["", "../", "/gig/"])
def test_a_location_is_a_uri_that_leads_back_to_the_file(name, folder):
    (track,) = tracks_of(render_xspf(playlist(Track(f"{folder}{name}", "x"))))
    assert re.fullmatch(r"[A-Za-z0-9._~%/:-]+", track["location"])
    parts = urlsplit(urljoin("file:///gig/markers/p.xspf", track["location"]))
    home = {"": "/gig/markers/", "../": "/gig/", "/gig/": "/gig/"}[folder]
    assert (parts.scheme, unquote(parts.path), parts.query, parts.fragment) == (
        "file",
        f"{home}{name}",
        "",
        "",
    )


@pytest.mark.skipif(os.name != "posix", reason="paths as POSIX has them")
def test_xspf_names_a_file_whose_name_is_no_text():
    # A byte that is no UTF-8 arrives from the file system as a lone surrogate (PEP 383).
    takes = ranked([done("a\udcffb.wav", 50.0)])
    (track,) = tracks_of(render_xspf(of_ranking(takes)))
    assert unquote_to_bytes(track["location"]) == b"../a\xffb.wav"
    assert track["title"] == "a?b.wav"


@given(text=st.text(), link=st.text(min_size=1).filter(lambda link: "\x00" not in link))
def test_no_text_spoils_xspf(text, link):
    content = render_xspf(playlist(Track(link, text, text, 1.0, text), title=text))
    (track,) = tracks_of(content)
    assert "\n" not in track.get("title", "")


@given(text=st.text(), link=st.text(min_size=1))
def test_no_text_adds_a_line_to_m3u8_or_takes_one_away(text, link):
    track = Track(link, text, text, 7.0, text)
    lines = render_m3u8(playlist(track, title=text)).decode().splitlines()
    assert lines[0] == "#EXTM3U"  # RFC 8216, 4.3.1.1: "It MUST be the first line"
    paths = [line for line in lines if not line.startswith("#")]
    assert len(paths) == (1 if is_writable(track) else 0)
    if paths and paths[0] != link:
        assert paths[0] == f"./{link}"


def test_the_package_m3u8_reads_paths_seconds_and_titles():
    content = render_m3u8(of_ranking(players={Path("/gig/b.wav"): "Ada Quill"}))
    assert read_m3u8(content) == [
        ("../a, b.wav", 61.0, "a, b.wav"),
        ("../b.wav", 61.0, "Ada Quill - Blues"),
        ("../short.mid", 0.0, "short.mid"),
    ]


def test_m3u8_without_a_version_has_whole_seconds():
    # RFC 8216, 4.3.2.1: "if the compatibility version number is less than 3, durations MUST be integers";
    # without EXT-X-VERSION it is 1 (4.3.1.2).
    text = render_m3u8(playlist(Track("a.wav", "A", duration_s=61.6), Track("b.wav", "B"))).decode()
    assert "EXT-X-VERSION" not in text
    assert re.findall(r"^#EXTINF:(.*)$", text, re.MULTILINE) == ["62,A", "-1,B"]


def test_m3u8_is_utf_8_without_a_mark_of_its_byte_order_and_without_control_characters():
    # RFC 8216, 4.1: no BOM, no control characters but line ends, Normalization Form C.
    content = render_m3u8(playlist(Track("é.wav", HOSTILE + "e\u0301", duration_s=1.0)))
    assert not content.startswith(b"\xef\xbb\xbf")
    assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u2028\u202e]", content.decode())
    assert read_m3u8(content) == [("é.wav", 1.0, "=1,??#EXTM3U,x?</title><b>&???夜é")]


@pytest.mark.parametrize(
    ("link", "written"),
    [
        ("#1 take.wav", "./#1 take.wav"),
        (" take.wav", "./ take.wav"),
        ("take: 1.wav", "./take: 1.wav"),
        ("gig/take: 1.wav", "gig/take: 1.wav"),
        ("/gig/#1.wav", "/gig/#1.wav"),
        ("C:/gig/1.wav", "C:/gig/1.wav"),
        ("100%20.wav", "100%20.wav"),
    ],
)
def test_a_path_that_a_reader_would_take_for_something_else_gets_a_dot_in_front(link, written):
    assert [path for path, *_ in read_m3u8(render_m3u8(playlist(Track(link, "x", duration_s=1.0))))] == [
        written
    ]


@pytest.mark.parametrize(
    "name", ["a\nb.wav", "a\rb.wav", "a\x85b.wav", "a\u2028b.wav", "a\x07b.wav", "a\udcffb.wav"]
)
def test_a_take_that_no_line_can_name_is_left_out_and_that_is_said(name):
    broken, fine = Track(name, name, duration_s=1.0), Track("b.wav", "B", duration_s=2.0)
    content = render_m3u8(playlist(broken, fine))
    assert read_m3u8(content) == [("b.wav", 2.0, "B")]
    assert f"# {name[0]}?b.wav is left out: no line can hold its name".encode() in content


def test_a_playlist_of_ours_is_known_by_its_beginning():
    for kind, render in {"xspf": render_xspf, "m3u8": render_m3u8}.items():
        for one in (playlist(title=HOSTILE), of_ranking()):
            content = render(one)
            assert OURS[kind].match(content)
            assert not OURS[kind].match(content.replace(MADE_BY.encode(), b"Made by somebody"))


def overview(*, more: int = 0) -> Overview:
    listed = (Listed(take.entry, take.place, None, (), f"../{take.entry.path.name}") for take in RANKED)
    return Overview("friday", tuple(listed), (), more)


def test_the_playlists_of_an_output_folder_hold_its_takes_most_varied_first():
    assert [track["location"] for track in tracks_of(PlaylistXspf().render(overview()))] == [
        "../a%2C%20b.wav", "../b.wav", "../short.mid",
    ]  # fmt: skip
    assert [path for path, *_ in read_m3u8(PlaylistM3u8().render(overview()))] == [
        "../a, b.wav", "../b.wav", "../short.mid",
    ]  # fmt: skip


def test_takes_that_a_long_list_leaves_out_are_counted():
    root = read_xspf(PlaylistXspf().render(overview(more=3)))
    assert (
        root.findtext("x:annotation", "", NS)
        == "Made by takemill: most varied first; 3 takes more not listed"
    )


def test_the_player_of_a_take_comes_from_its_outline():
    known = Outline(60.0, 48_000, None, None, None, None, in_beats=False, phrases=(), player="Ada Quill")
    first, *rest = overview().takes
    told = replace(overview(), takes=(replace(first, outline=known), *rest))
    assert [track.get("creator") for track in tracks_of(PlaylistXspf().render(told))] == [
        "Ada Quill",
        None,
        None,
    ]


# The command.


@pytest.fixture(scope="module")
def gig(tmp_path_factory, takemill) -> Path:
    """A folder with three takes that were heard, one of a name that no line can hold."""
    folder = tmp_path_factory.mktemp("disk") / "gig"
    folder.mkdir()
    write_take(folder / "slow one.wav", line(notes=4, step_s=0.5))
    write_midi_take(folder / "quick.mid", line(notes=9, step_s=0.125))
    if os.name == "posix":
        write_midi_take(folder / "two\nlines.mid", line(notes=5, step_s=0.25))
    assert takemill("run", folder).returncode == 0
    return folder


def files_named(playlist_file: Path) -> set[Path]:
    """Return what the locations of an XSPF file lead to."""
    uris = (track["location"] for track in tracks_of(playlist_file.read_bytes()))
    places = (urljoin(playlist_file.as_uri(), uri) for uri in uris)
    return {Path(unquote(urlsplit(place).path)) for place in places}


@pytest.mark.parametrize("place", ["best.xspf", "gig/best.xspf", "gig/markers/best.xspf"])
def test_links_hold_when_takes_and_playlist_move_together(gig, takemill, tmp_path, place):
    said = takemill("rank", gig, "--out", gig.parent / place)
    assert (said.returncode, said.stdout, said.stderr) == (0, "", "")
    moved = shutil.copytree(gig.parent, tmp_path / "other disk")
    assert files_named(moved / place) == {*moved.glob("gig/*.mid"), *moved.glob("gig/*.wav")}


def test_rank_writes_m3u8_and_says_which_take_it_cannot_hold(gig, takemill):
    said = takemill("rank", gig, "--out", gig / "best.m3u8")
    assert said.returncode == 0
    paths = {path for path, *_ in read_m3u8((gig / "best.m3u8").read_bytes())}
    assert paths == {"slow one.wav", "quick.mid"}
    assert said.stderr.splitlines() == [
        "takemill: two?lines.mid: no line of M3U8 can hold its name, so it is left out; ask for xspf"
    ]


def test_who_plays_is_told_by_the_tags_even_while_another_process_writes_to_the_catalogue(takemill, tmp_path):
    tagged = FLAC(write_take(tmp_path / "a.flac"))
    tagged["artist"] = "Ada Quill"
    tagged.save()
    takemill("run", tmp_path)
    with sqlite3.connect(tmp_path / "markers" / FILE_NAME) as other:
        other.execute("BEGIN IMMEDIATE")
        said = takemill("rank", tmp_path, "--format", "xspf")
        other.rollback()
    assert (said.returncode, said.stderr) == (0, "")
    assert [track["creator"] for track in tracks_of(said.stdout.encode())] == ["Ada Quill"]


@pytest.mark.skipif(not Path("/proc/self/fd").is_dir(), reason="only Linux tells where output goes")
def test_links_are_relative_to_the_file_that_standard_output_goes_to(gig, takemill):
    by_option, by_shell = gig / "lists" / "a.m3u8", gig / "lists" / "b.m3u8"
    by_option.parent.mkdir()
    takemill("rank", gig, "--out", by_option)
    with by_shell.open("wb") as stream:
        subprocess.run([COMMAND, "rank", gig, "--format", "m3u8"], stdout=stream, check=True, timeout=120)
    assert by_shell.read_bytes() == by_option.read_bytes()
    assert b"\n../" in by_shell.read_bytes()


def test_on_standard_output_links_are_absolute(gig, takemill):
    paths = {path for path, *_ in read_m3u8(takemill("rank", gig, "--format", "m3u8").stdout.encode())}
    assert paths == {str(gig / "slow one.wav"), str(gig / "quick.mid")}
    locations = {
        track["location"] for track in tracks_of(takemill("rank", gig, "--format", "xspf").stdout.encode())
    }
    assert (gig / "slow one.wav").as_uri() in locations


def test_a_link_on_the_way_makes_links_absolute_where_relative_ones_would_lead_astray(
    gig, takemill, tmp_path
):
    real = tmp_path / "deep" / "er" / "lists"
    real.mkdir(parents=True)
    (tmp_path / "lists").symlink_to(real)
    takemill("rank", gig, "--out", tmp_path / "lists" / "best.m3u8")
    paths = [path for path, *_ in read_m3u8((real / "best.m3u8").read_bytes())]
    assert len(paths) == 2
    assert all((real / path).is_file() for path in paths)


@pytest.mark.parametrize(
    ("name", "kind"), [("a.csv", b"take,"), ("a.json", b"["), ("a.XSPF", b"<?xml"), ("a.m3u", b"#EXTM3U")]
)
def test_the_ending_tells_the_format_and_a_ranking_of_ours_is_written_anew(
    gig, takemill, tmp_path, name, kind
):
    for by in ("variety", "length"):
        said = takemill("rank", gig, "--by", by, "--out", tmp_path / name)
        assert said.returncode == 0
        assert (tmp_path / name).read_bytes().startswith(kind)
    assert [path.name for path in tmp_path.iterdir()] == [name]


@pytest.mark.parametrize("name", ["a.csv", "a.json", "a.xspf", "a.m3u8"])
def test_a_file_by_somebody_else_is_left_alone(gig, takemill, tmp_path, name):
    (tmp_path / name).write_text("#EXTM3U\nmine.wav\n")
    said = takemill("rank", gig, "--out", tmp_path / name)
    assert (said.returncode, said.stdout) == (2, "")
    (line,) = said.stderr.splitlines()
    assert line.endswith("is no such ranking by takemill and was left alone; name another file")
    assert (tmp_path / name).read_text() == "#EXTM3U\nmine.wav\n"


def test_no_take_and_no_file_of_a_take_is_written_over_by_a_ranking(gig, takemill):
    for victim in ("slow one.wav", "markers/quick.cues.csv", "markers/quick.analysis.json"):
        before = (gig / victim).read_bytes()
        for kind in ("xspf", "m3u8", "csv", "json"):
            assert takemill("rank", gig, "--format", kind, "--out", gig / victim).returncode == 2
        assert (gig / victim).read_bytes() == before


@pytest.mark.parametrize(
    ("out", "told"),
    [
        ("folder.xspf", "is a folder; name a file in it"),
        ("nowhere/a.xspf", "there is no such folder; make it first"),
        ("a.txt", "its ending tells no format; end it in .xspf, .m3u8, .m3u, .csv, .json"),
        (f"{'x' * 300}.xspf", "cannot be written"),
        ("pipe.xspf", "name another file"),
    ],
)
def test_a_place_that_takes_no_file_is_said_in_a_line(gig, takemill, tmp_path, out, told):
    (tmp_path / "folder.xspf").mkdir()
    os.mkfifo(tmp_path / "pipe.xspf")
    said = takemill("rank", gig, "--out", tmp_path / out)
    assert (said.returncode, said.stdout) == (2, "")
    (line,) = said.stderr.splitlines()
    assert told in line
    assert {path.name for path in tmp_path.iterdir()} == {"folder.xspf", "pipe.xspf"}


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_may_not_be_written_to_is_said_in_a_line(gig, takemill, tmp_path):
    tmp_path.chmod(0o500)
    said = takemill("rank", gig, "--out", tmp_path / "a.xspf")
    assert said.returncode == 2
    assert len(said.stderr.splitlines()) == 1


def test_a_table_goes_to_no_file(gig, takemill, tmp_path):
    said = takemill("rank", gig, "--format", "table", "--out", tmp_path / "a.csv")
    assert (said.returncode, "a table is for the terminal" in said.stderr) == (2, True)
    assert list(tmp_path.iterdir()) == []
