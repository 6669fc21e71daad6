"""The clock of the demo: a story's act happens on its own day, as far as the program can tell."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from unittest.mock import patch

from django.utils import timezone

SATURDAY = 5
WORKING_WEEK = range(SATURDAY)
DAYS_A_WEEK = len(WORKING_WEEK)


@contextmanager
def clock_at(moment: datetime) -> Iterator[None]:
    """Let `timezone.now()` say `moment`, so that services date and check as on that day.

    For this process only, and only while the demo is loaded: no request is served meanwhile.
    """
    with patch.object(timezone, "now", lambda: moment):
        yield


def working_day(today: date, offset: int) -> date:
    """The day `offset` days from today, or the Friday before when it falls on a weekend.

    Never moves a day forwards, so nothing lands in the future, and never changes an order.
    """
    day = today + timedelta(days=offset)
    return day - timedelta(days=max(0, day.weekday() - SATURDAY + 1))


def nth_working_day(today: date, number: int) -> date:
    """The working day `number` weekdays from today; on a weekend 0 is the Monday after.

    Two numbers never share a day, so what does not overlap in the fixture never overlaps.
    """
    is_weekend = today.weekday() >= SATURDAY
    first = today + timedelta(days=7 - today.weekday() if is_weekend else 0)
    weeks, weekday = divmod(first.weekday() + number, DAYS_A_WEEK)
    return first + timedelta(days=7 * weeks + weekday - first.weekday())


def moment_of(day: date, at: time) -> datetime:
    """An aware moment in the clinic's own time zone."""
    return timezone.make_aware(datetime.combine(day, at))
