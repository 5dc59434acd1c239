"""Events as bytes, against the examples of the Standard MIDI Files 1.0 specification and against mido."""

import io

import mido
import pytest

from exporters.smf import LONGEST_DELTA, meter, midi_file, note_off, note_on, tempo, text


# The specification's table of variable-length quantities.
@pytest.mark.parametrize(
    ("ticks", "coded"),
    [(0, "00"), (0x40, "40"), (0x7F, "7F"), (0x80, "81 00"), (0x2000, "C0 00"), (0x3FFF, "FF 7F"),
     (0x4000, "81 80 00"), (0x1FFFFF, "FF FF 7F"), (0x200000, "81 80 80 00"), (0x0FFFFFFF, "FF FF FF 7F")],
)  # fmt: skip
def test_ticks_are_coded_as_the_standard_s_table_has_them(ticks, coded):
    content = midi_file([[(ticks, 0, note_on(0, 60, 64))]], 960)
    assert content[22:] == bytes.fromhex(f"{coded} 90 3C 40 00 FF 2F 00")


def test_a_time_that_four_bytes_do_not_hold_is_told_in_steps():
    # 100 hours at 120 a minute and 960 ticks a quarter: 691,200,000 ticks, 2.6 of the longest steps.
    tick = 100 * 3600 * 1920
    content = midi_file([[(0, 0, tempo(500_000)), (tick, 1, text(6, "late"))]], 960)
    midi = mido.MidiFile(file=io.BytesIO(content))
    assert sum(message.time for message in midi.tracks[0]) == tick
    assert max(message.time for message in midi.tracks[0]) == LONGEST_DELTA
    assert midi.length == pytest.approx(100 * 3600)
    assert [m.text for m in midi.tracks[0] if m.type == "marker"] == ["late"]


def test_every_event_is_what_mido_writes():
    events = [
        (tempo(600_123), mido.MetaMessage("set_tempo", tempo=600_123)),
        (meter(7, 8), mido.MetaMessage("time_signature", numerator=7, denominator=8)),
        (text(6, "01 long"), mido.MetaMessage("marker", text="01 long")),
        (text(7, "x" * 130), mido.MetaMessage("cue_marker", text="x" * 130)),
        (note_on(3, 60, 64), mido.Message("note_on", channel=3, note=60, velocity=64)),
        (note_off(3, 60), mido.Message("note_off", channel=3, note=60, velocity=0)),
    ]
    for ours, theirs in events:
        assert list(ours) == theirs.bytes()


def test_text_that_is_no_ascii_is_refused():
    with pytest.raises(UnicodeEncodeError):
        text(6, "Ä")
