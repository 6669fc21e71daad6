"""The clock of the demo: a story's act happens on its own day, as far as the program can tell."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from unittest.mock import patch

from django.utils import timezone

SATURDAY = 5


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


def moment_of(day: date, at: time) -> datetime:
    """An aware moment in the clinic's own time zone."""
    return timezone.make_aware(datetime.combine(day, at))
