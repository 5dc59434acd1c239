"""When a take was played: by what the recording says, else by names, else by the file's own time."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum

_UNSET_CLOCKS = frozenset({date(1904, 1, 1), date(1970, 1, 1), date(1980, 1, 1)})
"""Where the clocks of QuickTime files, Unix and FAT disks begin: read where a clock was never set."""
_FIRST = date(1900, 1, 1)
"""Nobody's practice tape is older (our choice)."""

_DAY = r"(?P<year>\d{4})(?P<apart>[-_./: ]?)(?P<month>\d\d)(?P=apart)(?P<day>\d\d)"
_STATED = re.compile(
    rf"\s*{_DAY}(?:[T _-]*(?P<hour>\d\d)[:.-]?(?P<minute>\d\d)"
    r"(?::?\d\d(?:[.,]\d+)?)?\s*(?P<utc>Z|\+00:?00)?)?"
)
_NAMED = re.compile(rf"(?<!\d){_DAY}(?!\d(?!\d{{5}}(?!\d)))")
"""A day of eight digits, alone or with six more for the time, as many recorders name their files."""


class DatedBy(StrEnum):
    """What a take's date is known from, surest first."""

    RECORDING = "recording"
    NAME = "name"
    FILE = "file"


@dataclass(frozen=True, slots=True)
class Dated:
    """When a take was played, as a clock on the wall had it, and how that is known."""

    at: datetime
    by: DatedBy


def dated(
    recorded_at: str | None, names: Iterable[str], changed_at: datetime | None, today: date
) -> Dated | None:
    """Return when a take was played; None where nothing says so that can be.

    ``names`` are the file's and its folders', nearest first; ``changed_at`` is when the file was last
    changed. What is stated in UTC is turned into local time; any other offset is that of the wall it was
    read from. A year or a month alone tells no day and is passed over, as is what lies ahead of ``today``.
    """
    stated = _moment(_STATED.match(recorded_at or ""), today)
    if stated:
        return Dated(stated, DatedBy.RECORDING)
    found = (_moment(match, today) for name in names for match in _NAMED.finditer(name))
    named = next((moment for moment in found if moment), None)
    if named:
        same_day = changed_at is not None and changed_at.date() == named.date()
        return Dated(changed_at if changed_at and same_day else named, DatedBy.NAME)
    if changed_at and _can_be(changed_at.date(), today):
        return Dated(changed_at, DatedBy.FILE)
    return None


def _moment(match: re.Match[str] | None, today: date) -> datetime | None:
    if match is None:
        return None
    parts = match.groupdict()
    try:
        day = date(int(parts["year"]), int(parts["month"]), int(parts["day"]))
    except ValueError:
        return None
    try:
        clock = time(int(parts.get("hour") or 0), int(parts.get("minute") or 0))
    except ValueError:
        clock = time()
    if not _can_be(day, today):
        return None
    moment = datetime.combine(day, clock)
    return _on_the_wall(moment) if parts.get("utc") else moment


def _on_the_wall(utc: datetime) -> datetime:
    """Return a time in UTC as a clock on the wall here had it; as it is where the system cannot say."""
    try:
        return utc.replace(tzinfo=UTC).astimezone().replace(tzinfo=None)
    except (OSError, OverflowError):
        return utc


def _can_be(day: date, today: date) -> bool:
    """Return whether a take can be of that day; tomorrow it is already, somewhere."""
    return _FIRST <= day <= today + timedelta(days=1) and day not in _UNSET_CLOCKS
