"""MP3, FLAC and Ogg with chapters: ffprobe reads them, and nothing else of the recording changes."""

import hashlib
import time
from dataclasses import replace
from io import BytesIO
from itertools import cycle
from pathlib import Path

import mutagen
import pytest
from chaptering import (
    WRITTEN,
    analysed,
    chapter_of,
    copied,
    frames_hash,
    frames_of,
    needs_ffmpeg,
    probed,
    recorded,
    samples_hash,
    table_of,
)
from mutagen import flac, id3
from mutagen.apev2 import APEv2
from mutagen.ogg import OggPage
from recording import tone, write_media

from batch.errors import TakeError, UnfitError
from batch.model import Analysis, Length
from batch.names import MADE_BY
from exporters.chapters.chapter import Division
from exporters.chapters.takes import chapters_of
from exporters.copies.chapters import Chapters

BY_PHRASE = Division("phrase")
HALF_A_MILLISECOND = 0.0005 + 1e-9
PICTURE = bytes(range(256)) * 800
"""As large as a cover, 200 kB."""


def with_names_of_all_lengths(analysis: Analysis) -> Analysis:
    """Return phrases long and short in turn: what is written by size stands out of order."""
    phrases = (
        replace(phrase, labels=replace(phrase.labels, length=length))
        for phrase, length in zip(analysis.phrases, cycle((Length.SHORT, Length.LONG)), strict=False)
    )
    return replace(analysis, phrases=tuple(phrases))


@needs_ffmpeg
@pytest.mark.parametrize("suffix", sorted(WRITTEN))
@pytest.mark.parametrize("count", [1, 5, 254, 255, 256, 999])
def test_ffprobe_reads_each_chapter_where_its_phrase_starts(tmp_path, suffix, count):
    analysis = with_names_of_all_lengths(analysed(count))
    found = probed(copied(recorded(tmp_path / f"take{suffix}"), analysis, BY_PHRASE))
    wanted = chapters_of(analysis, BY_PHRASE)
    assert [title for _, _, title in found] == [each.title for each in wanted]
    for (start_s, end_s, _), chapter in zip(found, wanted, strict=True):
        assert start_s == pytest.approx(chapter.start_s, abs=HALF_A_MILLISECOND)
        if chapter is not wanted[-1] or suffix == ".mp3":  # comments state no ends
            assert end_s == pytest.approx(chapter.end_s, abs=HALF_A_MILLISECOND)


@needs_ffmpeg
def test_flac_in_ogg_has_chapters_too(tmp_path):
    path = write_media(tmp_path / "take.oga", [tone(2.0)], "flac")
    copy = copied(path, analysed(3, 2.0))
    assert [title[:2] for _, _, title in probed(copy)] == ["01", "02", "03"]
    assert (frames_hash(copy), samples_hash(copy)) == (frames_hash(path), samples_hash(path))


@needs_ffmpeg
def test_more_phrases_than_comments_count_become_sections_and_mp3_keeps_them(tmp_path):
    assert len(probed(copied(recorded(tmp_path / "take.mp3"), analysed(1200), BY_PHRASE))) == 1200
    assert len(probed(copied(recorded(tmp_path / "take.ogg"), analysed(1200), BY_PHRASE))) == 24


@needs_ffmpeg
@pytest.mark.parametrize("suffix", sorted(WRITTEN))
def test_a_take_without_phrases_is_copied_without_chapters(tmp_path, suffix):
    path = recorded(tmp_path / f"take{suffix}")
    copy = copied(path, analysed(0))
    assert probed(copy) == []
    assert MADE_BY.encode() in copy.read_bytes()


@needs_ffmpeg
@pytest.mark.parametrize("suffix", sorted(WRITTEN))
@pytest.mark.parametrize("count", [3, 700])
def test_the_sound_is_the_same_frame_for_frame(tmp_path, suffix, count):
    path = recorded(tmp_path / f"take{suffix}")
    before = hashlib.sha256(path.read_bytes()).digest()
    copy = copied(path, analysed(count), BY_PHRASE)
    assert frames_hash(copy) == frames_hash(path)
    assert samples_hash(copy) == samples_hash(path)
    assert hashlib.sha256(path.read_bytes()).digest() == before


def test_a_tag_is_as_the_addendum_has_it(tmp_path):
    # "ID3v2 Chapter Frame Addendum" 3.1: times in ms; offsets of FFFFFFFF are to be ignored. 3.2: flags
    # %000000ab, a top-level, b ordered; an entry count of 8 bits, then the element IDs of frames in the tag.
    analysis = analysed(3)
    frames = list(frames_of(copied(recorded(tmp_path / "take.mp3"), analysis).read_bytes()))
    assert sorted(frame.name for frame in frames) == ["CHAP", "CHAP", "CHAP", "CTOC", "TXXX"]
    [(name, flags, children, inside)] = [table_of(frame) for frame in frames if frame.name == "CTOC"]
    assert (name, flags, [each.name for each in inside]) == ("chapters", 0b11, ["TIT2"])
    chapters = sorted(
        (chapter_of(frame) for frame in frames if frame.name == "CHAP"), key=lambda each: each[0]
    )
    assert [each[0] for each in chapters] == children
    for each, wanted in zip(chapters, chapters_of(analysis, BY_PHRASE), strict=True):
        assert each[1:5] == (wanted.start_ms, wanted.end_ms, 0xFFFFFFFF, 0xFFFFFFFF)
        [title] = each[5]
        assert title.name == "TIT2"
        assert title.body.rstrip(b"\x00") == b"\x03" + wanted.title.encode()  # UTF-8 (ID3v2.4, 4)


def test_more_chapters_than_a_table_counts_are_in_a_table_of_tables(tmp_path):
    content = copied(recorded(tmp_path / "take.mp3"), analysed(600), BY_PHRASE).read_bytes()
    frames = list(frames_of(content))
    tables = [table_of(frame) for frame in frames if frame.name == "CTOC"]
    chapters = [chapter_of(frame)[0] for frame in frames if frame.name == "CHAP"]
    [top] = [table for table in tables if table[1] == 0b11]
    parts = sorted(table for table in tables if table[1] == 0b01)
    assert top[2] == [name for name, _, _, _ in parts]
    assert [len(children) for _, _, children, _ in parts] == [255, 255, 90]
    assert [child for _, _, children, _ in parts for child in children] == sorted(chapters)


def tagged_mp3(path: Path, version: int) -> Path:
    """Write an MP3 with tags of every kind, chapters among them."""
    recorded(path)
    tags = id3.ID3()
    tags.add(id3.TIT2(encoding=1, text="Łódź"))
    tags.add(id3.APIC(encoding=0, mime="image/png", type=3, desc="", data=PICTURE))
    tags.add(id3.PRIV(owner="somebody", data=b"\xff\xfe\x00\xff\xe0"))
    tags.add(id3.TXXX(encoding=0, desc="GENERATOR OF JOY", text="yes"))
    tags.add(
        id3.CHAP(element_id="own", start_time=0, end_time=9, start_offset=1, end_offset=2, sub_frames=[])
    )
    if version == 3:
        tags.add(id3.TYER(encoding=0, text="1999"))
        tags.add(id3.TSIZ(encoding=0, text="12345"))  # 2.4 has no such frame
    tags.save(path, v2_version=version, v1=2)
    ape = APEv2()
    ape["Mood"] = "blue"
    ape.save(path)
    return path


@needs_ffmpeg
@pytest.mark.parametrize("version", [3, 4])
def test_the_other_tags_of_an_mp3_stay_in_version_2_4(tmp_path, version):
    path = tagged_mp3(tmp_path / "take.mp3", version)
    copy = copied(path)
    before, after = path.read_bytes(), copy.read_bytes()
    assert (before[3], after[3]) == (version, 4)
    old = {each.name: each.body for each in frames_of(before) if each.name in {"TIT2", "APIC", "PRIV"}}
    new = {each.name: each.body for each in frames_of(after) if each.name in old}
    assert new == old
    tags = id3.ID3(copy)
    assert tags["TXXX:GENERATOR OF JOY"].text == ["yes"]
    if version == 3:
        assert str(tags["TDRC"]) == "1999"  # ID3v2.4 "Changes": TYER became TDRC
    assert [title[:2] for _, _, title in probed(copy)] == ["01", "02", "03", "04", "05"]
    behind = [content[10 + id3.BitPaddedInt(content[6:10]) :] for content in (before, after)]
    assert behind[0] == behind[1]  # the sound, ID3v1 and APEv2
    assert APEv2(copy)["Mood"] == "blue"
    assert MADE_BY.encode() in after[: 1 << 16]


@needs_ffmpeg
def test_a_tag_of_version_2_2_becomes_2_4_with_its_title(tmp_path):
    path = recorded(tmp_path / "take.mp3")
    body = (
        b"TT2\x00\x00\x05\x00Blue"
        + b"PIC"
        + (6 + len(PICTURE)).to_bytes(3, "big")
        + b"\x00PNG\x03\x00"
        + PICTURE
    )
    size = bytes(len(body) >> shift & 127 for shift in (21, 14, 7, 0))
    path.write_bytes(b"ID3\x02\x00\x00" + size + body + path.read_bytes())
    copy = copied(path)
    assert copy.read_bytes()[3] == 4
    tags = id3.ID3(copy)
    assert tags["TIT2"].text == ["Blue"]
    assert tags.getall("APIC")[0].data == PICTURE
    assert len(probed(copy)) == 5


def sync_safe(number: int) -> bytes:
    return bytes(number >> shift & 127 for shift in (21, 14, 7, 0))


TITLE = b"\x03" + b"Blue " * 40
ODD_TAGS = {
    # ID3v2.3, 5 and 3.2: unsynchronised as a whole, with an extended header of 6 bytes.
    "unsynchronised 2.3": b"\x03\x00\xc0", "plain sizes in 2.4": b"\x04\x00\x00", "footer": b"\x04\x00\x10",
    "extended 2.4": b"\x04\x00\x40",
}  # fmt: skip


@needs_ffmpeg
@pytest.mark.parametrize("kind", ODD_TAGS)
def test_tags_that_programs_write_oddly_are_read(tmp_path, kind):
    path = recorded(tmp_path / "take.mp3")
    size = sync_safe(len(TITLE)) if kind in {"footer", "extended 2.4"} else len(TITLE).to_bytes(4, "big")
    private = b"PRIV\x00\x00\x00\x08\x00\x00me\x00" + b"\xff\x00\xe0\xff\x00"[:5]
    body = b"TIT2" + size + b"\x00\x00" + TITLE + private
    if kind == "unsynchronised 2.3":
        body = b"\x00\x00\x00\x06\x00\x00\x00\x00\x00\x00" + body.replace(b"\xff\x00", b"\xff\x00\x00")
    if kind == "extended 2.4":
        body = sync_safe(6) + b"\x01\x00" + body
    header = ODD_TAGS[kind] + sync_safe(len(body))
    footer = b"3DI" + header if kind == "footer" else b""
    path.write_bytes(b"ID3" + header + body + footer + path.read_bytes())
    copy = copied(path)
    frames = {frame.name: frame.body for frame in frames_of(copy.read_bytes())}
    assert frames["TIT2"].rstrip(b"\x00") == TITLE
    assert frames["PRIV"] == b"me\x00\xff\x00\xe0\xff\x00"
    assert len(probed(copy)) == 5
    assert samples_hash(copy) == samples_hash(path)


def test_a_tag_unsynchronised_frame_by_frame_stays_so(tmp_path):
    # ID3v2.4, 6.1: the tag's flag says that all frames are; a frame's own (4.1.2) says the same of it alone.
    path = recorded(tmp_path / "take.mp3")
    body = b"PRIV\x00\x00\x00\x06\x00\x00me\x00\xff\x00\xe0"
    path.write_bytes(b"ID3\x04\x00\x80" + sync_safe(len(body)) + body + path.read_bytes())
    tags = id3.ID3(copied(path))
    assert tags.getall("PRIV")[0].data == b"\xff\xe0"
    assert tags.getall("CHAP")[0].start_offset == 0xFFFFFFFF


def frame(name: bytes, content: bytes, version: int = 3, flags: bytes = b"\x00\x00") -> bytes:
    size = sync_safe(len(content)) if version == 4 else len(content).to_bytes(4, "big")
    return name + size + flags + content


def tag(version: int, *frames: bytes) -> bytes:
    return b"ID3" + bytes([version, 0, 0]) + sync_safe(sum(map(len, frames))) + b"".join(frames)


@needs_ffmpeg
def test_chapters_of_each_of_two_tags_give_way_and_what_one_lacks_the_other_gives(tmp_path):
    path = recorded(tmp_path / "take.mp3")
    chapter = frame(b"CHAP", b"own\x00" + bytes(16))
    first = tag(3, frame(b"TIT2", b"\x00Blue"), chapter, frame(b"ABCD", b"one"))
    second = tag(
        4, frame(b"TIT2", b"\x00Red", 4), frame(b"TPE1", b"\x00Ann", 4), chapter, frame(b"ABCD", b"two", 4)
    )
    path.write_bytes(first + second + path.read_bytes())
    copy = copied(path)
    assert [title[:2] for _, _, title in probed(copy)] == ["01", "02", "03", "04", "05"]
    content = copy.read_bytes()
    assert content.count(b"ID3\x04") == 1
    said = [
        (each.name, each.body.strip(b"\x00"))
        for each in frames_of(content)
        if each.name not in {"CHAP", "CTOC", "TXXX"}
    ]
    assert sorted(said) == [("ABCD", b"one"), ("TIT2", b"Blue"), ("TPE1", b"Ann")]
    assert samples_hash(copy) == samples_hash(path)


@pytest.mark.parametrize(
    ("version", "before", "after"),
    # 2.3, 3.3.1: flags %abc00000 %ijk00000, kept ones are a, b and c; 2.4, 4.1: %0abc0000 %0h00kmnp.
    [(3, b"\xe0\x00", 0x7000), (3, b"\x00\x00", 0), (4, b"\x70\x40", 0x7040), (4, b"\x00\x00", 0)],
)  # fmt: skip
def test_frames_that_nobody_knows_are_kept(tmp_path, version, before, after):
    path = recorded(tmp_path / "take.mp3")
    long = bytes(range(200))
    names = [b"XSOP", b"NCON", b"ABCD"]
    path.write_bytes(
        tag(version, *(frame(name, long, version, before) for name in names)) + path.read_bytes()
    )
    frames = {each.name: each for each in frames_of(copied(path).read_bytes())}
    assert [
        (frames[name.decode()].body, frames[name.decode()].flags) for name in names if name != b"XSOP"
    ] == [(long, after)] * 2
    assert copied(path).read_bytes().count(long) == 3


def test_who_made_a_recording_by_its_own_word_stays_beside_ours(tmp_path):
    for suffix in (".mp3", ".ogg", ".flac"):
        path = recorded(tmp_path / f"take{suffix}")
        file = mutagen.File(path)
        if suffix == ".mp3":
            file.add_tags()
            file.tags.add(id3.TXXX(encoding=3, desc="GENERATOR", text="A pedal"))
        else:
            file["generator"] = "A pedal"
        file.save()
        tags = mutagen.File(copied(copied(path))).tags
        assert tags["TXXX:GENERATOR" if suffix == ".mp3" else "generator"] == [MADE_BY, "A pedal"]


def test_an_mp3_with_a_booklet_and_capital_lyrics_keeps_both(tmp_path):
    path = recorded(tmp_path / "take.mp3")
    tags = id3.ID3()
    tags.add(id3.APIC(encoding=0, mime="image/png", type=3, desc="", data=PICTURE * 100))
    tags.add(id3.USLT(encoding=0, lang="eng", desc="", text="LA LA BLUE " * 13_000))
    tags.save(path)
    after = id3.ID3(copied(path))
    assert len(after.getall("APIC")[0].data) == len(PICTURE) * 100
    assert after.getall("USLT")[0].text.endswith("LA LA BLUE ")


def test_tags_that_are_too_large_are_said_to_be(tmp_path):
    path = recorded(tmp_path / "take.mp3")
    path.write_bytes(tag(3, frame(b"PRIV", bytes(33 << 20))) + path.read_bytes())
    with pytest.raises(
        TakeError, match=r"^has tags of more than 32 MiB; take pictures and the like out of them$"
    ):
        copied(path)


def paged(path: Path, comments: list[tuple[str, str]], size: int) -> Path:
    """Write a Vorbis recording whose comments stand in pages of ``size`` bytes (RFC 3533, 6)."""
    content = recorded(path).read_bytes()
    tags = mutagen.File(path).tags
    tags[:] = comments
    with BytesIO(content) as stream:
        pages = [OggPage(stream) for _ in range(2)]
        behind = stream.read()
    _, *rest = OggPage.to_packets(pages[1:])
    packet = b"\x03vorbis" + tags.write()
    parts = [packet[at : at + size] for at in range(0, len(packet), size)]
    written = [pages[0].write()]
    for number, part in enumerate(parts, start=1):
        page = OggPage()
        page.serial, page.sequence, page.continued = pages[0].serial, number, number > 1
        page.packets, page.complete = [part], number == len(parts)
        page.position = 0 if page.complete else -1
        written.append(page.write())
    setup = OggPage()
    setup.serial, setup.sequence, setup.packets, setup.position = pages[0].serial, len(parts) + 1, rest, 0
    renumbered = BytesIO(b"".join([*written, setup.write(), behind]))
    renumbered.seek(sum(map(len, written)))
    OggPage.renumber(renumbered, pages[0].serial, len(parts) + 1)
    path.write_bytes(renumbered.getvalue())
    return path


@needs_ffmpeg
@pytest.mark.parametrize(("size", "megabytes"), [(255, 4), (65_025, 10)])
def test_a_large_picture_in_an_ogg_is_copied_in_seconds(tmp_path, size, megabytes):
    picture = ("METADATA_BLOCK_PICTURE", "QUJD" * (megabytes * 250_000))
    path = paged(tmp_path / "take.ogg", [picture, ("CHAPTER001", "00:00:00.000")], size)
    started_s = time.process_time()
    copy = copied(path)
    assert time.process_time() - started_s < 15
    assert mutagen.File(copy)["metadata_block_picture"] == [picture[1]]
    assert [title[:2] for _, _, title in probed(copy)] == ["01", "02", "03", "04", "05"]
    assert (frames_hash(copy), samples_hash(copy)) == (frames_hash(path), samples_hash(path))


@pytest.mark.parametrize("suffix", [".ogg", ".flac"])
def test_comments_without_number_are_refused(tmp_path, suffix):
    many = [("a", "b")] * 200_000
    path = tmp_path / f"take{suffix}"
    if suffix == ".ogg":
        paged(path, many, 65_025)
    else:
        file = flac.FLAC(recorded(path))
        file.tags[:] = many
        file.save()
    with pytest.raises(TakeError, match="has tags of more than 100,000 comments; take"):
        copied(path)


@needs_ffmpeg
def test_blocks_of_a_flac_stay_and_ours_stands_first(tmp_path):
    path = recorded(tmp_path / "take.flac")
    file = flac.FLAC(path)
    cover = flac.Picture()
    cover.data, cover.type, cover.mime = PICTURE, 3, "image/png"
    file.add_picture(cover)
    file.metadata_blocks.insert(1, flac.MetadataBlock(b"TEST" + bytes(range(200))))
    file.metadata_blocks[1].code = 2  # APPLICATION
    file["title"], file["chapter000"], file["CHAPTER000NAME"] = "Łódź", "00:00:00.000", "own"
    file.save()
    copy = copied(path)
    after = flac.FLAC(copy)
    assert [block.code for block in after.metadata_blocks[:2]] == [0, 4]
    kept = [block.write() for block in file.metadata_blocks if block.code in {0, 2, 3, 6}]
    assert [block.write() for block in after.metadata_blocks if block.code in {0, 2, 3, 6}] == kept
    assert after["title"] == ["Łódź"]
    assert [title[:2] for _, _, title in probed(copy)] == ["01", "02", "03", "04", "05"]
    assert MADE_BY.encode() in copy.read_bytes()[: 1 << 16]
    assert samples_hash(copy) == samples_hash(path)


@needs_ffmpeg
@pytest.mark.parametrize("suffix", [".ogg", ".opus"])
def test_comments_of_an_ogg_stay_with_a_picture_among_them(tmp_path, suffix):
    path = recorded(tmp_path / f"take{suffix}")
    file = mutagen.File(path)
    file["title"], file["artist"], file["metadata_block_picture"] = "Łódź", ["one", "two"], "QUJD" * 70_000
    file["CHAPTER001"], file["CHAPTER001NAME"], file["chapter001url"] = "00:00:01.000", "own", "file:///"
    file.save()
    copy = copied(path)
    after = mutagen.File(copy).tags
    kept = ["title", "artist", "metadata_block_picture"]
    assert {key: after[key] for key in kept} == {key: file[key] for key in kept}
    assert "chapter001url" not in after
    assert [title[:2] for _, _, title in probed(copy)] == ["01", "02", "03", "04", "05"]
    assert MADE_BY.encode() in copy.read_bytes()[: 1 << 16]
    assert (frames_hash(copy), samples_hash(copy)) == (frames_hash(path), samples_hash(path))


def test_a_copy_of_a_copy_has_one_set_of_chapters(tmp_path):
    for suffix in (".mp3", ".ogg", ".flac"):
        once = copied(recorded(tmp_path / f"take{suffix}"))
        assert copied(once).read_bytes() == once.read_bytes()


@pytest.mark.parametrize(
    ("name", "suffix"),
    [("a.mp3", ".chapters.mp3"), ("A.FLAC", ".chapters.flac"), ("a.b.ogg", ".chapters.ogg"),
     ("a.oga", ".chapters.ogg"), ("a.opus", ".chapters.opus")],
)  # fmt: skip
def test_a_copy_is_called_by_its_kind(name, suffix):
    assert Chapters().suffix_for(name) == suffix
    assert suffix in Chapters().suffixes


@pytest.mark.parametrize("name", ["a.wav", "a.AIFF", "a.m4a"])
def test_kinds_without_chapters_are_encoded_only_if_asked(name):
    kind = name.partition(".")[2].upper()
    message = (
        f"{kind} files get no chapters; encode = .flac. or .ogg. under .chapters. makes a copy that has them"
    )
    with pytest.raises(UnfitError, match=message):
        Chapters().suffix_for(name)
    assert Chapters(encode="flac").suffix_for(name) == ".chapters.flac"
    assert Chapters(encode="ogg").suffix_for(name) == ".chapters.ogg"


def test_a_midi_take_has_no_copy():
    with pytest.raises(UnfitError, match="a MIDI take has no sound"):
        Chapters(encode="flac").suffix_for("a.mid")


OTHERS = {
    ".mp3": "libmp3lame",
    ".flac": "flac",
    ".ogg": "libopus",
    ".wav": "pcm_s16le",
    ".m4a": "aac",
    ".aac": "aac",
}


@pytest.mark.parametrize(
    ("written", "ending"),
    [(written, ending) for written in OTHERS for ending in (".mp3", ".flac", ".ogg", ".opus")
     if written != ending and {written, ending} != {".ogg", ".opus"}],
)  # fmt: skip
def test_a_file_of_another_kind_than_its_ending_says_is_refused(tmp_path, written, ending):
    path = write_media(tmp_path / f"made{written}", [tone(1.0)] * 2, OTHERS[written])
    with pytest.raises(TakeError, match=r"is no \w+.* whose tags can be read; give it the ending"):
        copied(path.rename(tmp_path / f"take{ending}"))


def test_a_tag_that_promises_more_than_the_file_is_refused(tmp_path):
    path = tmp_path / "take.mp3"
    path.write_bytes(b"ID3\x04\x00\x00\x7f\x7f\x7f\x7f" + bytes(1000))
    with pytest.raises(TakeError, match="is no MP3 whose tags can be read"):
        copied(path)


def test_a_flac_behind_a_large_tag_of_another_kind_is_refused(tmp_path):
    path = recorded(tmp_path / "take.flac")
    path.write_bytes(b"ID3\x04\x00\x00" + sync_safe(100_000) + bytes(100_000) + path.read_bytes())
    with pytest.raises(TakeError, match="has something large in front of its tags; take the ID3 tag out,"):
        copied(path)


def test_a_recording_that_is_gone_is_said_in_a_line(tmp_path):
    with pytest.raises(TakeError, match="is not there any more"):
        Chapters().copy(analysed(), tmp_path / "take.mp3", BytesIO())


def test_times_are_told_in_hours_minutes_and_seconds(tmp_path):
    path = recorded(tmp_path / "take.flac")
    analysis = analysed(2, 2 * 36_000.0)
    comments = dict(list(flac.FLAC(copied(path, analysis)).tags))
    # Xiph wiki, "Chapter Extension": Hour:Min:DecimalSeconds, numbered from 001 in its examples.
    assert comments["CHAPTER001"] == "00:00:00.100"
    assert comments["CHAPTER002"] == "10:00:00.050"
    assert comments["CHAPTER002NAME"] == "02 long dense against-groove"
