"""Charts in plain text: which chord stands where, worked by hand."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batch.harmony.chart import MOST_BARS, Chart, ChartError
from batch.harmony.plain import LONGEST_LINE, parse_chart

BLUES = """Blues in F
# The second chorus is where the fun starts.
| F7 | Bb7 | F7 | Cm7 F7 |
| Bb7 | Bdim7 | F7 | Am7 D7 |   # back home
| Gm7 | C7 | F7 D7 | Gm7 C7 |
"""


def told(chart: Chart) -> list[str]:
    """Return each bar in words: symbols, and the share of it where they start, but 0."""
    return [
        " ".join(
            (change.chord.symbol if change.chord else "-") + (f"@{change.at:g}" if change.at else "")
            for change in bar
        )
        for bar in chart.bars
    ]


def bars_of(text: str) -> list[str]:
    return told(parse_chart(text, "chords.txt"))


def test_bars_are_parted_by_lines_and_their_chords_share_them():
    chart = parse_chart(BLUES, "chords.txt")
    assert told(chart)[:5] == ["F7", "Bb7", "F7", "Cm7 F7@0.5", "Bb7"]
    assert (len(chart.bars), chart.repeats, chart.remarks) == (12, False, ())


@pytest.mark.parametrize(
    ("text", "bars"),
    [
        ("F7 | Bb7", ["F7", "Bb7"]),
        ("| F7 || Bb7 ||", ["F7", "Bb7"]),
        ("| F7 / / Bb7 |", ["F7 F7@0.25 F7@0.5 Bb7@0.75"]),
        ("| F7 . Bb7 . |", ["F7 F7@0.25 Bb7@0.5 Bb7@0.75"]),
        ("| F7 Bb7 | % | Gm7 |", ["F7 Bb7@0.5", "F7 Bb7@0.5", "Gm7"]),
        ("| F7 Bb7 | | Gm7 |", ["F7 Bb7@0.5", "Bb7", "Gm7"]),
        ("| F7 |\n| Bb7 |", ["F7", "Bb7"]),
        ("| F7 | N.C. | NC F7 |", ["F7", "-", "- F7@0.5"]),
        ("||: F7 | Bb7 :|| C7 |", ["F7", "Bb7", "F7", "Bb7", "C7"]),
        ("|: F7 | Bb7 :|", ["F7", "Bb7", "F7", "Bb7"]),
        ("||: F7 :|| x3", ["F7", "F7", "F7"]),
        ("||: F7 :|| 3x\n| C7 |", ["F7", "F7", "F7", "C7"]),
        ("||: F7 :||: C7 :||", ["F7", "F7", "C7", "C7"]),
        ("| F7 :|| C7 |", ["F7", "F7", "C7"]),
        ("[A] | F7 | C7 |", ["F7", "C7"]),
        ("Bridge: | F7 | C7 |", ["F7", "C7"]),
        ("A\n| F7 |\nB\n| C7 |", ["F7", "C7"]),
        ("| C7(b9 #11) F#m7 |  # altered | not a bar", ["C7(b9 #11) F#m7@0.5"]),
        ("| F7 | C7 |\nx 2", ["F7", "C7", "F7", "C7"]),
        ("||: Dm7 |1. G7 | C6 :||2. E7 | Am |", ["Dm7", "G7", "C6", "Dm7", "E7", "Am"]),
        ("|: Dm7 |1 G7 :|2 E7 |", ["Dm7", "G7", "Dm7", "E7"]),
        ("||: Dm7\n|1. G7 :||\n|2. E7 | F ||\n| C :||", ["Dm7", "G7", "Dm7", "E7", "F", "C", "C"]),
        ("||: D |1.-3. G :||4. A |", ["D", "G", "D", "G", "D", "G", "D", "A"]),
        ("||: D |1,3. G :||2. A |", ["D", "G", "D", "G", "D", "A"]),
        ("| D |1. G7 |2. E7 |", ["D", "G7", "D", "E7"]),
        ("||: D |1. G :|| A |", ["D", "G", "D", "A"]),
        ("||: D |1. G :||2. E :||: A :||", ["D", "G", "D", "E", "A", "A"]),
        ("1. | F7 | C7 |", ["F7", "C7"]),
        ("| Dm7 | (G7) | C (Dm7 G7) |", ["Dm7", "G7", "C Dm7@0.333333 G7@0.666667"]),
        ("| (C7(b9)) |", ["C7(b9)"]),
        ("| F7 Bb7 | /. | ·/. |", ["F7 Bb7@0.5"] * 3),
        ("| C6/9 | Am7/D |", ["C6/9", "Am7/D"]),
    ],
)
def test_what_a_chart_says(text, bars):
    assert bars_of(text) == bars


@pytest.mark.parametrize("line", ["repeat", "Repeat", "repeats", "form repeats until the take ends"])
def test_a_chorus_says_that_it_repeats(line):
    chart = parse_chart(f"| F7 |\n{line}\n", "chords.txt")
    assert (told(chart), chart.repeats) == (["F7"], True)


def test_unknown_symbols_are_named_with_their_bar_and_have_no_chord():
    chart = parse_chart("| F7 | Hdim | F7 Xq7 | Hdim |", "blues.chords.txt")
    assert told(chart) == ["F7", "-", "F7 -@0.5", "-"]
    (remark,) = chart.remarks
    assert "blues.chords.txt" in remark
    assert "Hdim in bar 2, Xq7 in bar 3;" in remark


def test_a_line_of_chords_without_bar_lines_is_told():
    (remark,) = parse_chart("| F7 |\nBb7 C7\n", "chords.txt").remarks
    assert "chord chart chords.txt has chords but no bar line in line 2, which was left out" in remark


@pytest.mark.parametrize(
    "text", ["", "\n\n", "F7 Bb7 F7", "# | F7 |", "Lyrics of a song\nand more", "repeat"]
)
def test_a_text_without_bars_is_no_chart(text):
    with pytest.raises(ChartError, match=r"has no bars; .*\| F7 \| Bb7 \|"):
        parse_chart(text, "chords.txt")


def test_a_chart_that_begins_with_a_repeated_bar_says_so_in_a_sentence():
    with pytest.raises(ChartError) as raised:
        parse_chart("| % | F7 |", "chords.txt")
    assert raised.value.problem == "repeats the bar before where there is none"


@pytest.mark.parametrize(
    "text",
    [
        "| % |",
        "||: " + "F7 | " * 900 + "1. F7 " + ":||2. F7 " * 40,
        "| F7 |\n" * (MOST_BARS + 1),
        "||: F7 | F7 | F7 :|| x999\n" * 50,
        "| F7 | F7 |\n" * 9_000 + "x 999",
        f"| {'F7 ' * 70} |",
        f"| F7 {'(' * LONGEST_LINE} |",
    ],
)
def test_a_chart_without_sense_or_end_is_refused(text):
    with pytest.raises(ChartError):
        parse_chart(text, "chords.txt")


@given(st.text("|:%/. x3FCb#7m()[]\nrepatN-", max_size=200))
def test_any_text_is_a_chart_or_an_error(text):
    try:
        chart = parse_chart(text, "chords.txt")
    except ChartError as error:
        assert error.problem and error.remedy
    else:
        assert chart.bars
        for bar in chart.bars:
            at = [change.at for change in bar]
            assert at[0] == 0
            assert all(0 <= a < b < 1 for a, b in pairwise(at))
