"""Calendar months, as a shop counts them."""

from __future__ import annotations

import calendar
import datetime


def months_later(day: datetime.date, months: int) -> datetime.date:
    """Return the same day some months later, or the last day of a month that has no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    month += 1
    return datetime.date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


def months_between(first: str, last: str) -> list[str]:
    """Return the months from ``first`` to ``last``, both included, as ``2026-01``."""
    start, end = (int(month[:4]) * 12 + int(month[5:7]) - 1 for month in (first, last))
    return [f"{number // 12:04}-{number % 12 + 1:02}" for number in range(start, end + 1)]
