"""Spans as the database stores them, and moments as the practice's clock shows them."""

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.db.models import BigIntegerField, F, Func
from django.utils import timezone

from clinic.scheduling.spans import Span


class Second(Func):
    """An end of a stored period in seconds since 1970: far quicker to read than a timestamp."""

    output_field = BigIntegerField()
    template = "extract(epoch FROM %(end)s(%(expressions)s))::bigint"

    def get_db_converters(self, connection: Any) -> list[Any]:
        """None: the database's own integers are Python's."""
        return []


STARTS_S, ENDS_S = Second(F("period"), end="lower"), Second(F("period"), end="upper")


def span_of_seconds(starts_s: int, ends_s: int) -> Span:
    return Span(datetime.fromtimestamp(starts_s, UTC), datetime.fromtimestamp(ends_s, UTC))


def stored(span: Span) -> DateTimeTZRange:
    return DateTimeTZRange(span.starts_at, span.ends_at, "[)")


def span_of(period: Any) -> Span:
    """The span of a stored period, which the database promises to be whole."""
    return Span(period.lower.astimezone(UTC), period.upper.astimezone(UTC))


def zone() -> ZoneInfo:
    """The time zone of the practice."""
    return ZoneInfo(timezone.get_current_timezone_name())


def wall(at: datetime) -> datetime:
    """A moment as the practice's wall clock shows it."""
    return at.astimezone(zone())
