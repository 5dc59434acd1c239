"""Tags inside recordings: mutagen's own writers write them, each format in its own way."""

from collections.abc import Callable
from pathlib import Path

import mutagen.aiff
import mutagen.apev2
import mutagen.flac
import mutagen.id3
import mutagen.mp3
import mutagen.oggvorbis
import mutagen.wave
import numpy as np
import pytest
import soundfile

from batch.tags import Tags, read_tags
from batch.takes import AudioTake, open_take

NONE = Tags()
Write = Callable[[Path, str | None, str | None, str | None], None]


def id3_writer(kind: Callable[[Path], mutagen.FileType]) -> Write:
    """Return a writer of ID3v2.4 frames (id3.org): TIT2 title, TDRC recording time, TBPM tempo."""

    def write(path: Path, title: str | None, date: str | None, tempo: str | None) -> None:
        sound = kind(path)
        sound.add_tags()
        for frame, text in (("TIT2", title), ("TDRC", date), ("TBPM", tempo)):
            if text is not None:
                sound.tags.add(getattr(mutagen.id3, frame)(encoding=3, text=[text]))
        sound.save()

    return write


def vorbis_writer(kind: Callable[[Path], mutagen.FileType], tempo_field: str) -> Write:
    """Return a writer of Vorbis comments (xiph.org): TITLE, DATE, and BPM or TEMPO."""

    def write(path: Path, title: str | None, date: str | None, tempo: str | None) -> None:
        sound = kind(path)
        if sound.tags is None:
            sound.add_tags()
        sound.tags.update({k: [v] for k, v in (("TITLE", title), ("DATE", date), (tempo_field, tempo)) if v})
        sound.save()

    return write


WRITERS = {
    "take.mp3": id3_writer(mutagen.mp3.MP3),
    "take.wav": id3_writer(mutagen.wave.WAVE),
    "take.aiff": id3_writer(mutagen.aiff.AIFF),
    "take.flac": vorbis_writer(mutagen.flac.FLAC, "BPM"),
    "take.ogg": vorbis_writer(mutagen.oggvorbis.OggVorbis, "TEMPO"),
}


@pytest.fixture(params=WRITERS)
def tagged(request, tmp_path):
    """Return a function that writes a take with these tags and returns its path."""

    def make(title: str | None = None, date: str | None = None, tempo: str | None = None) -> Path:
        path = tmp_path / request.param
        soundfile.write(path, 0.1 * np.sin(np.arange(22_050) / 9), 22_050)
        WRITERS[request.param](path, title, date, tempo)
        return path

    return make


def test_title_date_and_tempo_are_read(tagged):
    assert read_tags(tagged("Blues für Änne", "2024-05-17", "133")) == Tags(
        "Blues für Änne", "2024-05-17", 133.0
    )


def test_a_take_carries_its_tags_and_still_sounds(tagged):
    take = open_take(tagged("Solo", "2024", "96"), "")
    assert isinstance(take, AudioTake)
    assert (take.info.title, take.info.recorded_at, take.tempo_bpm) == ("Solo", "2024", 96.0)
    assert sum(len(block) for block in take.blocks()) == pytest.approx(22_050, abs=3 * 1152)


def test_a_take_without_tags_has_none(tmp_path, tagged):
    path = tagged()
    assert read_tags(path) == NONE
    soundfile.write(tmp_path / "bare.wav", np.zeros(100), 22_050)
    assert read_tags(tmp_path / "bare.wav") == NONE


@pytest.mark.parametrize(
    "tempo", ["fast", "0", "-120", "19.9", "401", "nan", "inf", "1e9", "120 bpm", "4/4", ""]
)
def test_a_tempo_of_nonsense_is_none(tagged, tempo):
    assert read_tags(tagged("Solo", None, tempo)) == Tags("Solo")


@pytest.mark.parametrize(
    ("tempo", "bpm"), [("20", 20.0), ("400", 400.0), ("133.33", 133.33), (" 120 ", 120.0)]
)
def test_a_tempo_within_a_metronomes_reach_is_kept(tagged, tempo, bpm):
    assert read_tags(tagged(None, None, tempo)).tempo_bpm == bpm


def test_control_characters_become_spaces(tagged):
    # ESC [ 3 1 m would colour a terminal; U+202E turns the reading direction.
    assert read_tags(tagged("\x1b[31mRed\r\n\tHot\u202e  Blues ")).title == "[31mRed Hot Blues"


def test_a_title_of_nothing_but_control_characters_is_none(tagged):
    assert read_tags(tagged("\x1b \x07\n")).title is None


def test_a_huge_title_is_cut(tagged):
    title = read_tags(tagged("ab " * 100_000)).title
    # 66 times "ab " is 198 characters; two more letters make 200.
    assert title == "ab " * 66 + "ab"


def test_a_title_is_not_cut_to_end_in_a_space(tagged):
    assert read_tags(tagged("a" * 199 + " b")).title == "a" * 199


def test_the_first_of_several_titles_counts(tmp_path):
    path = tmp_path / "take.flac"
    soundfile.write(path, np.zeros(100), 22_050)
    sound = mutagen.flac.FLAC(path)
    sound["title"] = ["First", "Second"]
    sound.save()
    assert read_tags(path).title == "First"


def test_ape_tags_of_an_mp3_are_no_obstacle(tmp_path):
    path = tmp_path / "take.mp3"
    soundfile.write(path, np.zeros(22_050), 22_050)
    ape = mutagen.apev2.APEv2()
    ape["Title"] = "Solo"
    ape.save(path)
    assert read_tags(path) in {NONE, Tags("Solo")}


@pytest.mark.parametrize("name", WRITERS)
def test_damaged_tags_are_none_or_some_and_never_break_the_batch(tmp_path, name):
    path = tmp_path / name
    soundfile.write(path, 0.1 * np.sin(np.arange(22_050) / 9), 22_050)
    WRITERS[name](path, "Solo", "2024-05-17", "120")
    content = path.read_bytes()
    where = content.rindex(b"Solo")
    chance = np.random.default_rng(11)
    for _ in range(150):
        damaged = bytearray(content)
        for position in chance.integers(max(0, where - 120), where + 60, size=3):
            damaged[min(position, len(content) - 1)] = chance.integers(0, 256)
        path.write_bytes(damaged[: chance.integers(where, len(content))])
        tags = read_tags(path)
        assert tags.tempo_bpm is None or 20 <= tags.tempo_bpm <= 400
        assert tags.title is None or (tags.title.isprintable() and len(tags.title) <= 200)


@pytest.mark.parametrize(
    "content", [b"", b"ID3\x04\x00\x00\x7f\x7f\x7f\x7f", b"fLaC\x84\xff\xff\xff", b"OggS"]
)
def test_a_file_of_broken_tags_has_none(tmp_path, content):
    path = tmp_path / "take.mp3"
    path.write_bytes(content)
    assert read_tags(path) == NONE


def test_a_missing_file_has_no_tags(tmp_path):
    assert read_tags(tmp_path / "gone.mp3") == NONE


# TPE1 (id3.org, 4.2.2: lead performer), ARTIST and PERFORMER (xiph.org), \xa9ART (MP4), Artist (APEv2).
def test_the_player_is_the_lead_performer_of_id3(tmp_path):
    path = tmp_path / "take.wav"
    soundfile.write(path, np.zeros(2_205), 22_050)
    sound = mutagen.wave.WAVE(path)
    sound.add_tags()
    sound.tags.add(mutagen.id3.TPE1(encoding=3, text=["Ada\nQuill"]))
    sound.save()
    assert read_tags(path).player == "Ada Quill"
    take = open_take(path, "")
    assert isinstance(take, AudioTake)
    assert take.info.player == "Ada Quill"


@pytest.mark.parametrize("field", ["ARTIST", "PERFORMER"])
def test_the_player_is_the_artist_of_vorbis_comments(tmp_path, field):
    path = tmp_path / "take.flac"
    soundfile.write(path, np.zeros(2_205), 22_050)
    sound = mutagen.flac.FLAC(path)
    sound[field] = ["Ada Quill", "Bo Marsh"]
    sound.save()
    assert read_tags(path).player == "Ada Quill"


def sync_safe(number: int) -> bytes:
    return bytes(number >> shift & 0x7F for shift in (21, 14, 7, 0))


def nested_chapters(depth: int) -> bytes:
    """Return an ID3v2.4 tag of a chapter in a chapter and so on (addendum, 3.1: any frame may be inside)."""
    inside = b""
    for _ in range(depth):
        chapter = b"c\x00" + bytes(16) + inside
        inside = b"CHAP" + sync_safe(len(chapter)) + b"\x00\x00" + chapter
    return b"ID3\x04\x00\x00" + sync_safe(len(inside)) + inside


def test_chapters_inside_chapters_without_end_are_no_tags(tmp_path):
    path = tmp_path / "take.mp3"
    soundfile.write(path, np.zeros(22_050), 22_050)
    path.write_bytes(nested_chapters(250) + path.read_bytes())
    assert read_tags(path) == NONE
