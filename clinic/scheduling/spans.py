"""Spans of time, and wall time across clock changes. Pure: standard library only.

A span is half open: its end belongs to what follows. Every moment carries UTC; a wall time becomes
a moment here and nowhere else, so that nine o'clock stays nine when the clocks change.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import NamedTuple
from zoneinfo import ZoneInfo


class Span(NamedTuple):
    """From a moment up to, not including, a later one. Both in UTC.

    A tuple, because a search for free time sorts and compares some ten thousand of them.
    """

    starts_at: datetime
    ends_at: datetime

    @property
    def minutes(self) -> int:
        return int((self.ends_at - self.starts_at).total_seconds() // 60)

    def overlaps(self, other: "Span") -> bool:
        return self.starts_at < other.ends_at and other.starts_at < self.ends_at

    def holds(self, other: "Span") -> bool:
        return self.starts_at <= other.starts_at and other.ends_at <= self.ends_at


def moment(day: date, at: time, zone: ZoneInfo) -> datetime:
    """The moment, in UTC, at which a wall clock of the zone shows a time.

    A time that the clock skips in spring is moved forward by the skip; of a time shown twice in
    autumn the first is meant. Source: PEP 495, fold 0 read with the offset before the change.
    """
    return datetime.combine(day, at, tzinfo=zone).astimezone(UTC)


def span(day: date, at: time, *, minutes: int, zone: ZoneInfo) -> Span:
    """A span that begins at a wall time and lasts so many real minutes."""
    starts_at = moment(day, at, zone)
    return Span(starts_at, starts_at + timedelta(minutes=minutes))


def lasting(starts_at: datetime, minutes: int) -> Span:
    starts_at = starts_at.astimezone(UTC)
    return Span(starts_at, starts_at + timedelta(minutes=minutes))


def whole_day(day: date, zone: ZoneInfo) -> Span:
    """Midnight to midnight: 23, 24 or 25 hours."""
    return Span(moment(day, time.min, zone), moment(day + timedelta(days=1), time.min, zone))


def merged(spans: Iterable[Span]) -> list[Span]:
    """The same time in ascending spans that neither touch nor overlap."""
    together: list[Span] = []
    for one in sorted(spans):
        if together and one.starts_at <= together[-1].ends_at:
            latest = max(together[-1].ends_at, one.ends_at)
            together[-1] = Span(together[-1].starts_at, latest)
        elif one.starts_at < one.ends_at:
            together.append(one)
    return together


def without(free: Iterable[Span], taken: Iterable[Span]) -> list[Span]:
    """What is left of free spans when taken ones, in any order, are cut out."""
    return cut(free, merged(taken))


def cut(free: Iterable[Span], taken: Sequence[Span]) -> list[Span]:
    """The same for taken spans that ascend and do not overlap each other."""
    left = []
    for starts_at, closes_at in free:
        for taken_from, taken_to in taken:
            if taken_to <= starts_at or taken_from >= closes_at:
                continue
            if taken_from > starts_at:
                left.append(Span(starts_at, taken_from))
            starts_at = taken_to  # noqa: PLW2901  (what comes before is decided)
        if starts_at < closes_at:
            left.append(Span(starts_at, closes_at))
    return left


def shared(first: Iterable[Span], second: Iterable[Span]) -> list[Span]:
    """The time that two lists of spans have in common."""
    pairs = ((one, other) for one in first for other in second if one.overlaps(other))
    return [
        Span(max(one.starts_at, other.starts_at), min(one.ends_at, other.ends_at))
        for one, other in pairs
    ]


def days(first: date, last: date) -> Iterator[date]:
    """Every day from the first to the last, both included."""
    return (first + timedelta(days=n) for n in range((last - first).days + 1))
