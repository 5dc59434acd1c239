"""Charts under takes: which chord a note belongs to, on bars worked by hand (two seconds each)."""

from dataclasses import replace

import pytest
from building import grid_of

from batch.harmony import ChartChoice, NoChart, chart_warnings, harmony_of
from batch.harmony.plain import parse_chart
from batch.model import ChordRole, Grid, Note
from batch.settings import GridSettings


def grid(bars: int = 8, *, first_beat: int = 1, first_bar: int = 1) -> Grid:
    """Return half-second beats from 0 s in 4/4, bar 1 at 0 s unless the grid starts within a bar."""
    count = 4 * bars - (first_beat - 1)
    return grid_of(
        [0.5 * i for i in range(count)],
        [(first_beat - 1 + i) % 4 + 1 for i in range(count)],
        first_bar=first_bar,
    )


def note(onset_s: float, pitch: float = 60.0, lasting_s: float = 0.2) -> Note:
    return Note(onset_s, onset_s + lasting_s, pitch, -20.0)


def symbols_at(
    text: str, times_s: list[float], under: Grid, choice: ChartChoice | None = None
) -> list[str | None]:
    """Return the chord that a short note at each time belongs to."""
    harmony = harmony_of(
        [note(at) for at in times_s], parse_chart(text, "chords.txt"), under, choice or ChartChoice()
    )
    return [None if at is None else harmony.chords[at].symbol for at in harmony.over]


def test_each_note_belongs_to_the_chord_of_its_time():
    times = [0.0, 1.4, 2.0, 2.9, 3.05, 4.0, 6.1]
    assert symbols_at("| C | F G | Am |", times, grid()) == ["C", "C", "F", "F", "G", "Am", None]


def test_a_chorus_repeats_if_it_says_so_or_the_settings_do():
    times = [0.0, 2.0, 4.0, 14.0]
    assert symbols_at("| C | F |", times, grid()) == ["C", "F", None, None]
    assert symbols_at("| C | F |\nrepeat", times, grid()) == ["C", "F", "C", "F"]
    assert symbols_at("| C | F |", times, grid(), ChartChoice(repeats=True)) == ["C", "F", "C", "F"]


def test_a_chart_may_start_later_and_bars_before_have_no_chords():
    assert symbols_at("| C | F |", [0.0, 3.0, 4.1, 6.1], grid(), ChartChoice(from_bar=3)) == [
        None,
        None,
        "C",
        "F",
    ]


def test_pick_up_and_count_in_have_no_chords():
    # Two beats of bar 0, then bar 1 at 1 s.
    assert symbols_at("| C | F |", [0.2, 1.0, 3.0], grid(first_beat=3, first_bar=0), None) == [None, "C", "F"]
    assert symbols_at("| C | F |", [0.2, 4.0], grid(first_bar=-1), None) == [None, "C"]


def test_a_take_that_starts_within_a_bar_has_the_rest_of_its_chords():
    # The take starts on beat 3 of bar 5 of the session.
    times = [0.1, 1.1, 2.2]
    assert symbols_at("| C F | G D |\nrepeat", times, grid(first_beat=3, first_bar=5)) == ["F", "G", "D"]


def test_chords_lie_where_beats_do_when_the_tempo_changes():
    under = grid_of([0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0], [1, 2, 3, 4, 1, 2, 3, 4, 1])
    harmony = harmony_of([note(0.0)], parse_chart("| C | F G |", "chords.txt"), under, ChartChoice())
    assert [(c.symbol, c.start_s, c.end_s, c.bar) for c in harmony.chords] == [
        ("C", 0.0, 2.0, 1), ("F", 2.0, 4.0, 2), ("G", 4.0, 6.0, 2),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("onset_s", "lasting_s", "symbol"),
    [
        (1.75, 1.0, "F"),  # an eighth early, held into the next bar
        (1.75, 0.24, "C"),  # an eighth before the line, which ends there
        (1.75, 0.4, "C"),  # and sounds longer before it than after
        (1.95, 0.3, "F"),  # played a little early
        (1.5, 3.0, "C"),  # a beat early is no anticipation
    ],
)
def test_a_note_that_anticipates_a_chord_belongs_to_it(onset_s, lasting_s, symbol):
    played = [note(onset_s, lasting_s=lasting_s)]
    harmony = harmony_of(played, parse_chart("| C | F |", "chords.txt"), grid(), ChartChoice())
    assert [harmony.chords[at].symbol for at in harmony.over] == [symbol]


def test_notes_have_degrees_and_roles():
    played = [note(0.0, 66.2), note(0.5, 65), note(1.0, 64), note(2.1, 60), note(5.0, 60)]
    harmony = harmony_of(played, parse_chart("| Cmaj7 | N.C. |", "chords.txt"), grid(), ChartChoice())
    assert harmony.degrees == ("#11", "11", "3", None, None)
    assert harmony.roles == (ChordRole.EXTENSION, ChordRole.OUTSIDE, ChordRole.CHORD_TONE, None, None)


def warnings_of(text: str | None, under: Grid | None, notes: list[Note], **said: object) -> tuple[str, ...]:
    chart = None if text is None else parse_chart(text, "chords.txt")
    return chart_warnings(GridSettings(**said), chart, under, notes)


def test_a_chart_shorter_than_the_take_names_the_bars_without_chords():
    (warning,) = warnings_of("| C | F |", grid(), [note(0), note(9.0)])
    assert (
        "chords.txt has 2 bars, the take runs to bar 5: bars 3 to 5 have no chords; write repeat" in warning
    )
    (warning,) = warnings_of("| C | F |", grid(), [note(0), note(5.0)])
    assert "bar 3 has no chords" in warning


def test_silence_after_the_last_note_needs_no_chords():
    assert warnings_of("| C | F |", grid(), [note(0), note(3.0)]) == ()


@pytest.mark.parametrize("text", ["| C | F |\nrepeat", "| C |\nx 5", "| C |" + " C |" * 40])
def test_a_chart_that_repeats_or_is_longer_is_fine(text):
    assert warnings_of(text, grid(), [note(0), note(9.0)]) == ()


def test_without_a_sure_beat_a_chart_is_told_and_not_laid():
    (warning,) = warnings_of("| C | Hm |", None, [note(0)])
    assert warning == (
        "chord chart chords.txt is not used: it needs a sure beat (tempo map, click or tempo_bpm)"
    )
    assert harmony_of([note(0)], parse_chart("| C |", "x"), None, ChartChoice()) is None


def test_a_chart_that_the_settings_name_and_that_is_not_there_is_told():
    (warning,) = warnings_of(None, grid(), [], chart="{take} changes.txt")
    assert "{take} changes.txt (grid.chart in takemill.toml) is not there" in warning
    assert warnings_of(None, grid(), []) == ()


def test_only_a_text_chart_can_be_told_to_repeat_in_itself():
    text = parse_chart("| C | F |", "chords.txt")
    for name, told in (("chords.txt", True), ("chords.MusicXML", False)):
        chart = replace(text, name=name)
        (warning,) = chart_warnings(GridSettings(), chart, grid(), [note(9.0)])
        assert "set grid.chart_repeats" in warning
        assert ("write repeat" in warning) is told


@pytest.mark.parametrize(
    ("meter", "told"), [((4, 4), False), ((2, 2), False), (None, False), ((3, 4), True), ((6, 8), True)]
)
def test_a_chart_in_another_meter_is_told(meter, told):
    chart = replace(parse_chart("| C |\nrepeat", "chords.xml"), meter=meter)
    warnings = chart_warnings(GridSettings(), chart, grid(), [note(0)])
    stated = "chord chart chords.xml is in {}/{}, the take in 4/4".format(*meter or (0, 0))
    assert [stated in warning for warning in warnings] == [True] * told


def test_compound_meters_are_told_by_their_eighths():
    under = replace(grid(), beats_per_bar=2, subdivision=3, division_note=8)
    for meter, told in (((6, 8), []), ((4, 4), ["is in 4/4, the take in 6/8"])):
        chart = replace(parse_chart("| C |\nrepeat", "chords.xml"), meter=meter)
        warnings = chart_warnings(GridSettings(), chart, under, [note(0)])
        assert [words in warning for words, warning in zip(told, warnings, strict=True)] == [True] * len(told)


def test_a_take_without_notes_needs_no_beat_for_its_chart():
    assert warnings_of("| C |", None, []) == ()


def test_what_is_no_chart_is_told_in_a_line_with_or_without_a_beat():
    broken = NoChart("chords.txt", "has no bars", "write them")
    for under in (grid(), None):
        assert harmony_of([note(0)], broken, under, ChartChoice()) is None
        assert chart_warnings(GridSettings(), broken, under, [note(0)]) == (
            "chord chart chords.txt is not used: it has no bars; write them",
        )


def test_a_chart_that_starts_after_the_take_ends_is_told():
    (warning,) = warnings_of("| C |", grid(), [note(0)], chart_from_bar=20)
    assert "starts with bar 20" in warning
