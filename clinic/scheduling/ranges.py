"""Spans as the database stores them, and moments as the practice's clock shows them."""

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db.backends.postgresql.psycopg_any import DateTimeTZRange
from django.utils import timezone

from clinic.scheduling.spans import Span


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
