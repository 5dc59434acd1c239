"""Periods of the calendar; weeks as ISO 8601 counts them."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batch.trend.periods import Per, day_words, index_of, name_of, start_of


# ISO 8601: weeks begin on Monday, and week 1 holds the year's first Thursday. 1 January 2010 was a Friday,
# 4 January 2010 a Monday; 31 December 2024 a Tuesday.
@pytest.mark.parametrize(
    ("day", "week", "start"),
    [
        (date(2010, 1, 3), "2009-W53", date(2009, 12, 28)),
        (date(2010, 1, 4), "2010-W01", date(2010, 1, 4)),
        (date(2024, 12, 31), "2025-W01", date(2024, 12, 30)),
        (date(2026, 11, 3), "2026-W45", date(2026, 11, 2)),
    ],
)
def test_weeks_are_those_of_iso_8601(day, week, start):
    assert start_of(day, Per.WEEK) == start
    assert name_of(start, Per.WEEK) == week


def test_days_and_months_are_written_as_iso_8601_does():
    day = date(2026, 2, 28)
    assert name_of(start_of(day, Per.DAY), Per.DAY) == "2026-02-28"
    assert name_of(start_of(day, Per.MONTH), Per.MONTH) == "2026-02"
    assert day_words(date(2026, 11, 2)) == "2 Nov 2026"


@given(st.dates(date(1900, 1, 1), date(2100, 1, 1)), st.sampled_from(Per))
def test_a_period_has_one_number_and_the_next_has_one_more(day, per):
    start, tomorrow = start_of(day, per), start_of(day + timedelta(days=1), per)
    assert start <= day
    assert start_of(start, per) == start
    assert index_of(tomorrow, per) - index_of(start, per) == (tomorrow != start)
