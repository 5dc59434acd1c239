"""Days, weeks and months of the calendar: weeks are those of ISO 8601, from Monday on."""

from datetime import date, timedelta
from enum import StrEnum

_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


class Per(StrEnum):
    """How long a period is."""

    DAY = "day"
    WEEK = "week"
    MONTH = "month"


def start_of(day: date, per: Per) -> date:
    """Return the first day of the period that ``day`` lies in."""
    if per is Per.WEEK:
        return day - timedelta(days=day.weekday())
    return day.replace(day=1) if per is Per.MONTH else day


def index_of(start: date, per: Per) -> int:
    """Return a number for a period, one more for the next."""
    if per is Per.MONTH:
        return start.year * 12 + start.month
    return start.toordinal() // 7 if per is Per.WEEK else start.toordinal()


def name_of(start: date, per: Per) -> str:
    """Return how ISO 8601 writes a period: ``2026-11-03``, ``2026-W45``, ``2026-11``."""
    if per is Per.WEEK:
        year, week, _ = start.isocalendar()
        return f"{year}-W{week:02}"
    return f"{start:%Y-%m}" if per is Per.MONTH else start.isoformat()


def day_words(day: date) -> str:
    """Return a day as people write it: ``2 Nov 2026``."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"
