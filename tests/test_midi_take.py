"""Reading MIDI takes: commented bytes (Standard MIDI Files 1.0), and pretty_midi as a second reader."""

import io
import math
import random
import struct
import warnings
from pathlib import Path

import mido
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batch.errors import TakeError
from batch.midi_take import read_performance, read_tempo_map, velocity_to_db
from batch.model import Note
from batch.tempo import MeterChange, TempoChange

with warnings.catch_warnings():
    # pretty_midi 0.2.11 asks setuptools for its own files in a way that setuptools warns of.
    warnings.filterwarnings("ignore", message="pkg_resources is deprecated", category=UserWarning)
    warnings.filterwarnings(
        "ignore", message="Deprecated call to `pkg_resources", category=DeprecationWarning
    )
    import pretty_midi

END = "00 FF 2F 00"  # end of track
C4 = "00 90 3C 64  60 80 3C 00"  # middle C, velocity 100, for 0x60 = 96 ticks


def smf(*tracks: str, midi_format: int = 0, division: int = 96) -> bytes:
    """Return a file of these tracks, each with its end of track."""
    chunks = [b"MThd" + struct.pack(">IHHH", 6, midi_format, len(tracks), division)]
    for track in tracks:
        content = bytes.fromhex(f"{track} {END}")
        chunks.append(b"MTrk" + struct.pack(">I", len(content)) + content)
    return b"".join(chunks)


@pytest.fixture
def take(tmp_path: Path) -> Path:
    return tmp_path / "take.mid"


def spans(notes: tuple[Note, ...]) -> list[tuple[float, float, float]]:
    """Onset, offset, pitch, to the microsecond."""
    return [(round(n.onset_s, 6), round(n.offset_s, 6), n.pitch_midi) for n in notes]


def test_every_byte_of_a_file_is_read_as_the_standard_says(take):
    take.write_bytes(
        bytes.fromhex(
            "4D 54 68 64  00 00 00 06"  # MThd, 6 bytes follow
            "00 00  00 01  00 60"  # format 0, 1 track, 96 ticks a quarter
            "4D 54 72 6B  00 00 00 28"  # MTrk, 40 bytes follow
            "00 FF 03 04 53 6F 6C 6F"  # track name "Solo"
            "00 FF 58 04 03 02 18 08"  # 3/4 (denominator 2^2), 24 clocks, 8 thirty-seconds
            "00 FF 51 03 0F 42 40"  # 0x0F4240 = 1,000,000 us a quarter: 60 a minute
            "60 90 45 7F"  # after a quarter: A4, full velocity
            "30 80 45 40"  # an eighth later: let go
            "81 10 B0 40 00"  # 0x81 0x10 = 1 * 128 + 16 = 144 ticks later: pedal up
            "00 FF 2F 00"  # end of track
        )
    )
    performance = read_performance(take)
    # Quarter = 1 s: on at 1 s, off at 1.5 s, end at (96 + 48 + 144) / 96 = 3 s. Velocity 127 is 0 dB.
    assert performance.notes == (Note(1.0, 1.5, 69.0, 0.0),)
    assert performance.tempo_map.tempos == (TempoChange(0, 1_000_000),)
    assert performance.tempo_map.meters == (MeterChange(0, 3, 4),)
    assert performance.duration_s == 3.0
    assert performance.title == "Solo"


def test_running_status_repeats_the_last_status(take):
    take.write_bytes(
        smf(
            "00 90 3C 64"  # C4 on
            "60 3C 00"  # running: C4, velocity 0, a quarter later
            "00 3E 64"  # running: D4 on
            "60 3E 00"  # running: D4, velocity 0
        )
    )
    # 120 bpm: a quarter is 0.5 s.
    assert spans(read_performance(take).notes) == [(0.0, 0.5, 60.0), (0.5, 1.0, 62.0)]


def test_a_note_on_of_velocity_0_lets_go(take):
    take.write_bytes(smf("00 90 3C 64  60 90 3C 00  60 90 3C 64  30 80 3C 00"))
    assert spans(read_performance(take).notes) == [(0.0, 0.5, 60.0), (1.0, 1.25, 60.0)]


def test_format_1_plays_its_tracks_together_over_the_first_tracks_tempo(take):
    take.write_bytes(
        smf(
            "00 FF 51 03 0F 42 40",  # 60 a minute, in a track of its own
            "00 90 3C 64  60 80 3C 00",  # C4 in the first second
            "60 91 40 64  60 81 40 00",  # E4 on another channel in the second one
            midi_format=1,
        )
    )
    assert spans(read_performance(take).notes) == [(0.0, 1.0, 60.0), (1.0, 2.0, 64.0)]


def test_a_note_across_a_tempo_change_lasts_both_tempos(take):
    take.write_bytes(
        smf(
            "00 90 3C 64"  # on, at 120 a minute
            "60 FF 51 03 0F 42 40"  # after a quarter (0.5 s): 60 a minute
            "60 80 3C 00"  # after another (1 s): off
        )
    )
    assert spans(read_performance(take).notes) == [(0.0, 1.5, 60.0)]


def test_percussion_is_no_line(take):
    take.write_bytes(smf("00 99 24 7F  60 89 24 00  00 90 3C 64  60 80 3C 00"))  # 9x: channel 10
    assert spans(read_performance(take).notes) == [(0.5, 1.0, 60.0)]


@pytest.mark.parametrize("track", ["", "00 99 24 7F  60 89 24 00", "00 B0 40 7F"])
def test_a_file_without_melody_has_no_notes(take, track):
    take.write_bytes(smf(track))
    assert read_performance(take).notes == ()


def test_a_file_without_tracks_has_no_notes(take):
    take.write_bytes(smf())
    assert read_performance(take).notes == ()


def test_a_note_never_let_go_ends_with_its_track(take):
    take.write_bytes(smf("00 90 3C 64  81 40 B0 40 00"))  # 0x81 0x40 = 192 ticks = 1 s
    assert spans(read_performance(take).notes) == [(0.0, 1.0, 60.0)]


def test_a_key_struck_twice_is_let_go_in_the_order_it_was_struck(take):
    # On at 0 and 0.5 s, off at 1 s and 1.5 s; the line's first note ends where the second starts.
    take.write_bytes(smf("00 90 3C 64  60 90 3C 32  60 80 3C 00  60 80 3C 00"))
    notes = read_performance(take).notes
    assert spans(notes) == [(0.0, 0.5, 60.0), (0.5, 1.5, 60.0)]
    assert notes[0].loudness_db > notes[1].loudness_db


def test_a_note_off_without_a_note_is_nothing(take):
    take.write_bytes(smf(f"00 80 3C 00 {C4}"))
    assert spans(read_performance(take).notes) == [(0.0, 0.5, 60.0)]


def test_a_chord_is_heard_as_its_highest_note_from_its_first_onset(take):
    # C4, G4 two ticks later (10 ms), E4 one more (16 ms in all); all let go after a quarter.
    take.write_bytes(smf("00 90 3C 64  02 90 43 64  01 90 40 64  60 80 3C 00  00 80 43 00  00 80 40 00"))
    # The last onset is tick 3, the release tick 99: 99 / 96 * 0.5 s.
    assert spans(read_performance(take).notes) == [(0.0, 0.515625, 67.0)]


def test_legato_overlap_is_cut_at_the_next_onset(take):
    take.write_bytes(smf("00 90 3C 64  60 90 3E 64  30 80 3C 00  30 80 3E 00"))
    assert spans(read_performance(take).notes) == [(0.0, 0.5, 60.0), (0.5, 1.0, 62.0)]


# 40 log10(v / 127): 127 -> 0 dB; 127 / sqrt(10) = 40.16 -> about -20 dB; 1 -> -84.15 dB.
@pytest.mark.parametrize(("velocity", "level_db"), [(127, 0.0), (40, -20.07), (1, -84.15)])
def test_velocity_is_a_squared_amplitude(velocity, level_db):
    assert velocity_to_db(velocity) == pytest.approx(level_db, abs=0.01)


def test_other_chunks_after_the_tracks_do_not_matter(take):
    take.write_bytes(smf(C4) + b"XFIH\x00\x00\x00\x02ab")
    assert len(read_performance(take).notes) == 1


def test_system_exclusive_between_notes_does_not_matter(take):
    take.write_bytes(smf(f"00 F0 03 43 12 F7 {C4}"))
    assert spans(read_performance(take).notes) == [(0.0, 0.5, 60.0)]


# "Soloé": é is C3 A9 in UTF-8 and E9 in Latin-1; programs write either.
@pytest.mark.parametrize("name", ["FF 03 06 53 6F 6C 6F C3 A9", "FF 03 05 53 6F 6C 6F E9"])
def test_a_title_is_read_as_utf_8_or_latin_1(take, name):
    take.write_bytes(smf(f"00 {name} {C4}"))
    assert read_performance(take).title == "Soloé"


def test_a_title_loses_its_control_characters(take):
    take.write_bytes(smf(f"00 FF 03 05 41 1B 5B 0A 42 {C4}"))  # A ESC [ LF B
    assert read_performance(take).title == "A [ B"


def test_a_title_of_nothing_is_none(take):
    take.write_bytes(smf(f"00 FF 03 02 20 00 {C4}"))
    assert read_performance(take).title is None


def test_a_take_s_own_meter_or_tempo_of_nothing_is_left_out(take):
    take.write_bytes(
        smf(
            "00 FF 58 04 00 02 18 08"  # 0/4
            "00 FF 58 04 04 FF 18 08"  # 4 over 2 to the 255th: its beats would never end
            "00 FF 51 03 00 00 00"  # no time at all to a quarter
        )
    )
    tempo_map = read_performance(take).tempo_map
    assert tempo_map.meters == (MeterChange(0, 4, 4),)
    assert tempo_map.tempos == (TempoChange(0, 500_000),)


def test_a_take_says_whether_it_states_its_tempo(take):
    # Standard MIDI Files 1.0, Set Tempo: 120 beats a minute are assumed where none is stated.
    take.write_bytes(smf("00 90 3C 40 83 60 80 3C 40 00 FF 2F 00"))
    assert not read_performance(take).states_tempo
    take.write_bytes(smf("00 FF 51 03 0F 42 40 00 90 3C 40 83 60 80 3C 40 00 FF 2F 00"))
    assert read_performance(take).states_tempo


def test_of_two_tempos_at_one_tick_the_later_counts(take):
    take.write_bytes(smf("00 FF 51 03 07 A1 20  00 FF 51 03 0F 42 40"))
    assert read_tempo_map(take).tempos == (TempoChange(0, 1_000_000),)


@pytest.mark.parametrize("read", [read_performance, read_tempo_map])
@pytest.mark.parametrize(
    ("content", "problem"),
    [
        (b"", "is not a Standard MIDI File"),
        (b"RIFF\x00\x00\x00\x00RMID", "is not a Standard MIDI File"),
        (b"MThd\x00\x00\x00\x06\x00\x00", "is not a Standard MIDI File"),
        (smf(C4, division=0xE728), "film frames"),  # E7 = -25 frames a second, 28 = 40 ticks a frame
        (smf(C4, division=0), "0 ticks a quarter"),
        (smf(C4, midi_format=2), "format 2"),
        (smf(C4)[:-6], "broken"),  # cut short inside the track
        (smf(C4)[:18], "broken"),  # cut short inside the track's header
        (smf(C4)[:14], "broken"),  # the header promises a track
        (smf(C4).replace(b"MTrk", b"MTrx"), "broken"),
        (smf("00 3C 64"), "broken"),  # running status with no status before
        (smf("FF FF FF FF 7F 90 3C 64"), "broken"),  # a time of five bytes
        (smf("00 FF 01 7F 41"), "broken"),  # a text longer than its track
        (smf("00 90 3C")[:-4], "broken"),  # half a message
        (smf("00 FF 51 01 07"), "broken"),  # a tempo of one byte
        (smf("00 FF 51 03 00 00 01"), "60,000,000 quarters a minute"),
    ],
)
def test_a_file_that_is_no_midi_take_is_refused_with_the_way_out(take, content, problem, read):
    take.write_bytes(content)
    with pytest.raises(TakeError, match=problem) as refused:
        read(take)
    assert refused.value.path == take
    assert refused.value.remedy.startswith("export it again as a Standard MIDI File")
    assert "\n" not in str(refused.value)


def test_a_take_of_weeks_is_refused(take):
    # FF FF FF 7F = 268,435,455 ticks at 1 tick a quarter and 120 a minute: 37,283 hours.
    take.write_bytes(smf("FF FF FF 7F B0 40 00", division=1))
    with pytest.raises(TakeError, match="lasts 37,283 hours"):
        read_performance(take)


def test_a_missing_file_is_refused(take):
    with pytest.raises(TakeError, match="is not there"):
        read_performance(take)


@given(st.data())
def test_a_damaged_file_is_read_or_refused_and_never_breaks_the_batch(tmp_path_factory, data):
    content = bytearray(smf(f"00 FF 03 04 53 6F 6C 6F 00 FF 59 02 00 00 00 FF 51 03 0F 42 40 {C4} {C4}"))
    for _ in range(data.draw(st.integers(1, 4))):
        content[data.draw(st.integers(8, len(content) - 1))] = data.draw(st.integers(0, 255))
    path = tmp_path_factory.getbasetemp() / "damaged.mid"
    path.write_bytes(content[: data.draw(st.integers(14, len(content)))])
    try:
        performance = read_performance(path)
    except TakeError as error:
        assert error.problem and error.remedy
    else:
        assert all(
            math.isfinite(n.offset_s) and n.offset_s <= performance.duration_s for n in performance.notes
        )


def random_line(seed: int) -> mido.MidiFile:
    """Return a line of separate notes with a tempo change about every quarter."""
    chance = random.Random(seed)
    midi = mido.MidiFile(type=1, ticks_per_beat=chance.choice([96, 120, 480, 960]))
    conductor, line = mido.MidiTrack(), mido.MidiTrack()
    for _ in range(40):
        conductor.append(
            mido.MetaMessage(
                "set_tempo", tempo=chance.randint(200_000, 1_500_000), time=chance.randint(1, 3) * 37
            )
        )
    for _ in range(60):
        pitch, length = chance.randint(30, 100), midi.ticks_per_beat
        rest = chance.randint(length // 2, 3 * length)
        line.append(mido.Message("note_on", note=pitch, velocity=chance.randint(1, 127), time=rest))
        line.append(mido.Message("note_off", note=pitch, time=chance.randint(length // 2, 2 * length)))
    midi.tracks.extend([conductor, line])
    return midi


@pytest.mark.parametrize("seed", range(8))
def test_note_times_agree_with_pretty_midi(take, seed):
    random_line(seed).save(take)
    ours = read_performance(take).notes
    theirs = pretty_midi.PrettyMIDI(io.BytesIO(take.read_bytes())).instruments[0].notes
    assert len(ours) == len(theirs) == 60
    for our, their in zip(ours, theirs, strict=True):
        assert (our.onset_s, our.offset_s) == pytest.approx((their.start, their.end), abs=1e-6)
        assert our.pitch_midi == their.pitch
        assert our.loudness_db == pytest.approx(40 * math.log10(their.velocity / 127))
