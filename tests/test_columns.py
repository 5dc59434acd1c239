"""Tables that fit their terminal, whatever names stand in them."""

from unicodedata import east_asian_width

import pytest

from batch.columns import Column, print_table, shortened


def cells(text: str) -> int:
    """Return how many cells a terminal gives a text, by Unicode's own table (UAX 11)."""
    return sum(2 if east_asian_width(character) in "WF" else 1 for character in text)


@pytest.mark.parametrize(
    "name", ["take one of a long evening, 27.wav", "夜のブルース練習テイク三番最後の一回", "x" * 300]
)
@pytest.mark.parametrize("room", [20, 21, 33])
def test_a_long_name_is_shortened_in_its_middle_to_the_cells_it_has(name, room):
    short = shortened(name, room)
    assert room - 2 <= cells(short) <= room
    assert short[0] == name[0]
    assert short[-1] == name[-1]


def test_a_name_that_fits_stays():
    assert shortened("夜のブルース", 12) == "夜のブルース"


def test_one_long_name_leaves_all_rows_their_numbers(capsys):
    take = Column("take", ["long " * 40 + "27", "short"], left=True, shortens=True)
    print_table([take, Column("phrases", ["11", "7"], gives_way=1)])
    first, long, short = capsys.readouterr().out.splitlines()
    assert first.split() == ["take", "phrases"]
    assert long.endswith("11")
    assert short.split() == ["short", "7"]
    assert len(long) <= 160
