"""When a take was played: dates as recorders, tags and people write them."""

import time
from datetime import date, datetime

import pytest

from batch.trend.dates import Dated, DatedBy, dated

TODAY = date(2026, 11, 26)
CHANGED = datetime(2026, 10, 4, 21, 30)


def found(recorded_at=None, *names, changed_at=None):
    return dated(recorded_at, names, changed_at, TODAY)


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("2024-05-03", datetime(2024, 5, 3)),
        ("2024-05-03T20:15:00", datetime(2024, 5, 3, 20, 15)),  # ID3v2.4 TDRC, a subset of ISO 8601
        ("2024-05-03 20:15", datetime(2024, 5, 3, 20, 15)),  # Broadcast Wave, as it is read here
        ("2024-05-03T20:15:00+02:00", datetime(2024, 5, 3, 20, 15)),
        ("20240503", datetime(2024, 5, 3)),  # ISO 8601 basic
        ("20240503T2015", datetime(2024, 5, 3, 20, 15)),
        ("2024:05:03 20:15:00", datetime(2024, 5, 3, 20, 15)),  # as cameras write it (Exif)
        ("2024-05-03T99:99", datetime(2024, 5, 3)),
    ],
)
def test_what_the_recording_says_comes_first(text, at):
    assert found(text, "2020-01-02 blues", changed_at=CHANGED) == Dated(at, DatedBy.RECORDING)


@pytest.fixture
def in_new_york(monkeypatch):
    """Five hours behind UTC, by a rule that needs no table of zones."""
    if not hasattr(time, "tzset"):
        pytest.skip("the zone of a running program cannot be set here")
    with monkeypatch.context() as changed:
        changed.setenv("TZ", "EST5")
        time.tzset()
        yield
    time.tzset()


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("2024-05-04T01:15:00Z", datetime(2024, 5, 3, 20, 15)),
        ("2024-05-04T01:15:00.000000Z", datetime(2024, 5, 3, 20, 15)),
        ("2024-05-04 01:15+00:00", datetime(2024, 5, 3, 20, 15)),
        ("2024-05-04T01:15:00+0000", datetime(2024, 5, 3, 20, 15)),
        ("2024-05-04T01:15:00+02:00", datetime(2024, 5, 4, 1, 15)),
        ("2024-05-04T01:15:00-05:00", datetime(2024, 5, 4, 1, 15)),
        ("2024-05-04T01:15:00", datetime(2024, 5, 4, 1, 15)),
        ("2024-05-04", datetime(2024, 5, 4)),
    ],
)
@pytest.mark.usefixtures("in_new_york")
def test_universal_time_becomes_that_of_the_wall(text, at):
    assert found(text) == Dated(at, DatedBy.RECORDING)


@pytest.mark.parametrize(
    "junk",
    ["", "2024", "2024-05", "soon", "2024-13-01", "2024-02-30", "0000-00-00", "2124-05-03", "1850-01-01",
     "1970-01-01", "1980-01-01T00:00:00", "1904-01-01", "99999999", "-2024-05-03", "2024-0503"],
)  # fmt: skip
def test_junk_and_clocks_never_set_are_passed_over(junk):
    assert found(junk, changed_at=CHANGED) == Dated(CHANGED, DatedBy.FILE)


@pytest.mark.parametrize(
    "name",
    [
        "blues 2026-11-03",
        "20261103",
        "20261103201500",
        "VID_20261103_201500",
        "x_2026_11_03_",
        "2026.11.03-2",
    ],
)
def test_a_day_in_a_name_is_read(name):
    assert found(None, name, changed_at=CHANGED) == Dated(datetime(2026, 11, 3), DatedBy.NAME)


@pytest.mark.parametrize("name", ["120261103", "2026110", "12345678", "202611035", "2026-11-3", "2026-11_03"])
def test_other_numbers_in_names_are_no_days(name):
    assert found(None, name, changed_at=CHANGED) == Dated(CHANGED, DatedBy.FILE)


def test_the_nearest_name_wins_and_a_file_of_that_day_tells_the_time():
    assert found(None, "solo", "2026-10-04", "2020-01-01", changed_at=CHANGED) == Dated(CHANGED, DatedBy.NAME)


def test_what_is_dated_by_nothing_has_no_date():
    assert found() is None
    assert found(None, "solo", changed_at=datetime(2262, 4, 11)) is None


def test_tomorrow_may_be_today_elsewhere():
    assert found("2026-11-27") is not None
    assert found("2026-11-28") is None
