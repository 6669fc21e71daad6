"""Spans as the database stores them, and back."""

from datetime import UTC
from typing import Any

from django.db.backends.postgresql.psycopg_any import DateTimeTZRange

from clinic.scheduling.spans import Span


def stored(span: Span) -> DateTimeTZRange:
    return DateTimeTZRange(span.starts_at, span.ends_at, "[)")


def span_of(period: Any) -> Span:
    """The span of a stored period, which the database promises to be whole."""
    return Span(period.lower.astimezone(UTC), period.upper.astimezone(UTC))
