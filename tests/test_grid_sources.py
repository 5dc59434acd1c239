"""Which source of the grid wins, and what is said of the others."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from batch.beats.pulse import Pulse
from batch.grid_sources import Companion, Sources, find_grid, source_warnings
from batch.model import Note, TakeInfo
from batch.settings import Settings
from batch.sound import Sound
from batch.takes import AudioTake, MidiTake
from batch.tempo import MeterChange, TempoMap

DURATION_S = 20.0
NOTES = tuple(Note(1 + i / 4, 1.2 + i / 4, 60.0, -12.0) for i in range(60))


def steady(tempo_bpm: float, confidence: float = 0.95, beats_per_bar: int = 4) -> Pulse:
    beats = np.arange(0.1, DURATION_S, 60 / tempo_bpm)
    return Pulse(
        tuple(beats.tolist()),
        tuple(1 + i % beats_per_bar for i in range(len(beats))),
        beats_per_bar,
        confidence,
    )


def info(name: str) -> TakeInfo:
    return TakeInfo(name, DURATION_S, 48_000, 1, None, None, None, "hash")


def sound_take(tag_bpm: float | None = None) -> AudioTake:
    # Only its name, length and tag are asked for.
    nothing: Sound = None  # type: ignore[assignment]
    return AudioTake(Path("solo.wav"), info("solo.wav"), tag_bpm, nothing, nothing)  # type: ignore[arg-type]


def midi_take(tempo_bpm: float) -> MidiTake:
    return MidiTake(Path("solo.mid"), info("solo.mid"), NOTES, TempoMap.constant(tempo_bpm, (4, 4), 960))


@pytest.fixture
def heard_tempos(monkeypatch) -> list[float | None]:
    """Listen in its place: find the tempo told, or 77 unsurely; the list has what was told."""
    told: list[float | None] = []

    def listened(notes: Sequence[Note], *, tempo_bpm: float | None, **given: object) -> Pulse:
        told.append(tempo_bpm)
        return steady(tempo_bpm) if tempo_bpm else steady(77, confidence=0.3)

    monkeypatch.setattr("batch.beats.alone.track_notes", listened)
    return told


def sources(take=None, *, grid=None, session_bpm=None, companion=None) -> Sources:
    return Sources(
        take or sound_take(),
        Settings.model_validate({"grid": grid or {}}),
        None if session_bpm is None else TempoMap.constant(session_bpm, (4, 4), 960),
        companion,
    )


EVERYTHING = [
    ("tempo map", {"session_bpm": 100.0}),
    ("settings", {"grid": {"tempo_bpm": 110.0}}),
    ("companion", {"companion": Companion("solo.click.wav", steady(120))}),
    ("tempo tag", {"take": sound_take(130.0)}),
    ("take alone", {}),
]


@pytest.mark.parametrize("best", range(len(EVERYTHING)))
def test_the_best_source_there_is_gives_the_grid(best, heard_tempos):
    # The order of the design: map, settings, companion, tag, the take alone.
    there = {key: value for _, given in EVERYTHING[best:] for key, value in given.items()}
    grid = find_grid(sources(**there), NOTES)
    assert grid.source == EVERYTHING[best][0]


def test_a_midi_take_brings_its_own_map_unless_the_session_has_one(heard_tempos):
    assert find_grid(sources(midi_take(90.0), grid={"tempo_bpm": 110.0}), NOTES).source == "midi take"
    assert find_grid(sources(midi_take(90.0), session_bpm=100.0), NOTES).source == "tempo map"


def test_a_midi_take_that_states_no_tempo_follows_the_settings_else_the_standard(heard_tempos):
    # Standard MIDI Files 1.0, Set Tempo: without one 120 beats a minute are assumed.
    silent = replace(midi_take(120.0), states_tempo=False)
    asked = sources(silent, grid={"tempo_bpm": 96.0})
    assert find_grid(asked, NOTES).source == "settings"
    assert said(asked) == ()
    assert find_grid(sources(silent), NOTES).tempo_bpm == pytest.approx(120)


def test_nothing_is_listened_for_where_the_beat_is_stated(heard_tempos):
    find_grid(sources(grid={"tempo_bpm": 110.0}), NOTES)
    assert heard_tempos == []


def test_an_unsure_companion_gives_way_to_a_sure_tag_and_the_surest_is_told_where_none_is(heard_tempos):
    unsure = Companion("solo.backing.mp3", steady(120, confidence=0.5))
    assert find_grid(sources(sound_take(130.0), companion=unsure), NOTES).source == "tempo tag"
    grid = find_grid(sources(companion=unsure), NOTES)
    assert (grid.source, grid.confidence, grid.trusted) == ("companion", 0.5, False)


def test_a_companion_in_three_is_counted_in_three_unless_the_settings_say_otherwise(heard_tempos):
    waltz = Companion("solo.click.wav", steady(120, beats_per_bar=3))
    assert find_grid(sources(companion=waltz), NOTES).beats_per_bar == 3


def said(asked: Sources) -> tuple[str, ...]:
    return source_warnings(asked, find_grid(asked, NOTES))


def test_sources_that_agree_are_not_talked_about(heard_tempos):
    agreeing = sources(
        sound_take(119.0),
        session_bpm=120.0,
        grid={"tempo_bpm": 120.5},
        companion=Companion("c.wav", steady(121)),
    )
    assert said(agreeing) == ()


def test_a_tag_at_half_or_double_does_not_contradict(heard_tempos):
    assert said(sources(sound_take(60.0), session_bpm=120.0)) == ()
    assert said(sources(sound_take(240.0), session_bpm=120.0)) == ()


def test_each_source_that_contradicts_is_named_with_its_tempo_and_the_winner(heard_tempos):
    lines = said(
        sources(
            sound_take(90.0),
            session_bpm=120.0,
            grid={"tempo_bpm": 100.0},
            companion=Companion("c.wav", steady(110)),
        )
    )
    # 110 beats a minute of the companion are as near as its beats are exact.
    assert [line.split(";")[0] for line in lines] == [
        "sources disagree: the tempo map says 120 beats a minute, the settings 100",
        "sources disagree: the tempo map says 120 beats a minute, the companion 110",
        "sources disagree: the tempo map says 120 beats a minute, the tempo tag 90",
    ]
    assert all(line.endswith("the tempo map was taken, as the better source") for line in lines)


def test_a_meter_set_against_the_map_is_said(heard_tempos):
    (line,) = said(sources(session_bpm=120.0, grid={"meter": "3/4"}))
    assert line.startswith("sources disagree: the tempo map is in 4/4, the settings say 3/4")


def test_a_map_that_has_the_meter_somewhere_does_not_contradict(heard_tempos):
    both = TempoMap(960, meters=(MeterChange(0, 4, 4), MeterChange(3840, 3, 4)))
    asked = Sources(sound_take(), Settings.model_validate({"grid": {"meter": "3/4"}}), both)
    assert said(asked) == ()


def test_without_a_sure_beat_the_player_hears_what_would_help(heard_tempos):
    (line,) = said(sources())
    assert line.startswith("beat unsure (confidence 0.30, from the take alone): give grid.tempo_bpm")
    assert "NAME.click.wav" in line


def test_no_notes_leave_no_grid_and_say_so():
    assert find_grid(sources(), ()) is None
    (line,) = source_warnings(sources(), None)
    assert line.startswith("no grid: give grid.tempo_bpm")


def test_a_companion_that_is_named_and_missing_or_says_nothing_is_told(heard_tempos):
    (missing, _) = said(sources(grid={"companion": "drums.wav"}))
    assert missing.startswith("its companion drums.wav (grid.companion in takemill.toml) is not there")
    (silent, _) = said(sources(companion=Companion("solo.click.wav", None)))
    assert silent == "no steady beat was found in its companion solo.click.wav"


def test_a_companion_that_covers_little_of_the_take_is_no_grid_and_is_said(heard_tempos):
    late = steady(120)
    elsewhere = Companion("far.wav", replace(late, beats_s=tuple(15 + beat for beat in late.beats_s)))
    asked = sources(companion=elsewhere)
    assert find_grid(asked, NOTES).source == "take alone"
    assert said(asked)[0].startswith("its companion far.wav has its beats from 15.1 to")


def test_a_first_downbeat_that_is_set_numbers_the_beats_that_were_heard(heard_tempos):
    # Beats at 0.1, 0.6, 1.1, 1.6 ...: the one nearest to 1.0 s becomes the first of its bar.
    asked = sources(companion=Companion("c.wav", steady(120)), grid={"first_downbeat_s": 1.0})
    grid = find_grid(asked, NOTES)
    at = grid.beats_s.index(pytest.approx(1.1))
    assert grid.beat_in_bar[at : at + 5] == (1, 2, 3, 4, 1)
    assert grid.beat_in_bar[at - 1] == 4


def test_a_tag_counted_at_double_is_said(monkeypatch):
    monkeypatch.setattr("batch.beats.alone.track_notes", lambda notes, **told: steady(140))
    (line,) = said(sources(sound_take(70.0)))
    assert line.startswith("the tempo tag says 70 beats a minute, the notes fit 140")


def test_where_a_tag_is_the_take_alone_is_not_asked(monkeypatch):
    told: list[float | None] = []

    def unsure(notes, *, tempo_bpm, **given):
        told.append(tempo_bpm)
        return steady(60, confidence=0.4)

    monkeypatch.setattr("batch.beats.alone.track_notes", unsure)
    assert find_grid(sources(sound_take(119.0)), NOTES).trusted is False
    assert told == [119.0]
