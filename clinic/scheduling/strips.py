"""A day as a strip of cells, time running from left to right. Pure: this app's pure modules only.

A strip is a row of a real table; each cell spans so many steps of five minutes.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from clinic.scheduling.spans import Span

STEP_MIN = 5
HOUR_STEPS = 60 // STEP_MIN
# What a strip shows when nothing asks for more. Common practice, no source.
USUAL_OPEN_HOUR, USUAL_CLOSE_HOUR = 8, 18


def clock(at: datetime) -> str:
    """09:05, of a wall time."""
    return f"{at.hour:02}:{at.minute:02}"


def in_hours(minutes: int) -> str:
    """45 min, 1 h, 2 h 15."""
    hours, rest = divmod(minutes, 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest}" if rest else f"{hours} h"


@dataclass(frozen=True, slots=True)
class Ruler:
    """Which hours of a day are drawn, on the wall clock of a zone."""

    zone: ZoneInfo
    open_hour: int = USUAL_OPEN_HOUR
    close_hour: int = USUAL_CLOSE_HOUR

    @property
    def steps(self) -> int:
        return (self.close_hour - self.open_hour) * HOUR_STEPS

    @property
    def hours(self) -> range:
        return range(self.open_hour, self.close_hour)

    def steps_of(self, span: Span, day: date) -> tuple[int, int]:
        """First step and the step after the last, within the strip, at least one long."""
        first = min(self._minute(span.starts_at, day) // STEP_MIN, self.steps - 1)
        last = -(-self._minute(span.ends_at, day) // STEP_MIN)  # rounded up
        return first, max(first + 1, last)

    def _minute(self, at: datetime, day: date) -> int:
        """Minutes of the wall clock since the strip begins, within the strip."""
        local = at.astimezone(self.zone)
        if local.day != day.day:  # the evening before, or past midnight
            return 0 if local.date() < day else self.steps * STEP_MIN
        minute = (local.hour - self.open_hour) * 60 + local.minute
        return min(max(minute, 0), self.steps * STEP_MIN)


@dataclass(frozen=True, slots=True)
class Cell:
    """Part of a strip: booked (`card`), free (`gap`), or neither."""

    steps: int
    card: Any = None
    gap: Any = None


@dataclass(frozen=True, slots=True)
class Gap:
    """Free time that can be booked, from a wall time. `is_first` of the pieces of one gap."""

    starts_at: datetime
    minutes: int
    whole_min: int
    is_first: bool

    @property
    def clock(self) -> str:
        return clock(self.starts_at)

    @property
    def at(self) -> str:
        """As an address carries it."""
        return self.starts_at.isoformat()[:16]

    @property
    def length(self) -> str:
        """45′ or 1 h 15, for a narrow cell."""
        return f"{self.whole_min}′" if self.whole_min < 60 else in_hours(self.whole_min)


def ruler_over(zone: ZoneInfo, spans: Iterable[Span]) -> Ruler:
    """The usual hours, widened to whole hours so that every span is drawn."""
    open_hour, close_hour = USUAL_OPEN_HOUR, USUAL_CLOSE_HOUR
    for span in spans:
        starts, ends = span.starts_at.astimezone(zone), span.ends_at.astimezone(zone)
        open_hour = min(open_hour, starts.hour)
        same_day = starts.date() == ends.date()
        close_hour = max(close_hour, ends.hour + bool(ends.minute) if same_day else 24)
    return Ruler(zone, open_hour, close_hour)


def lanes(booked: Sequence[tuple[Span, Any]]) -> list[list[tuple[Span, Any]]]:
    """Booked spans in as few rows as keep them from overlapping. One row if none overlap."""
    rows: list[list[tuple[Span, Any]]] = [[]]
    for span, card in booked:
        free = next((row for row in rows if not row or row[-1][0].ends_at <= span.starts_at), None)
        if free is None:
            rows.append(free := [])
        free.append((span, card))
    return rows


def strip(
    ruler: Ruler, day: date, booked: Sequence[tuple[Span, Any]], gaps: Sequence[tuple[Span, Gap]]
) -> list[Cell]:
    """The cells of one row. `booked` ascends without overlaps; so do `gaps`, and beside it."""
    at, cells = 0, []
    for first, last, card, gap in sorted(_placed(ruler, day, booked, gaps), key=_by_first):
        begins = max(first, at)  # a span off the grid may share a step with the one before
        if begins > at:
            cells.append(Cell(begins - at))
        if last > begins:
            cells.append(Cell(last - begins, card, gap))
            at = last
    if at < ruler.steps:
        cells.append(Cell(ruler.steps - at))
    return cells


def _by_first(placed: tuple[int, int, Any, Any]) -> int:
    return placed[0]


def _placed(
    ruler: Ruler, day: date, booked: Sequence[tuple[Span, Any]], gaps: Sequence[tuple[Span, Gap]]
) -> Iterator[tuple[int, int, Any, Any]]:
    for span, card in booked:
        yield (*ruler.steps_of(span, day), card, None)
    for span, gap in gaps:
        yield (*ruler.steps_of(span, day), None, gap)


def gap_pieces(span: Span, zone: ZoneInfo, *, by_hour: bool) -> Iterator[tuple[Span, Gap]]:
    """A gap whole, or cut at the full hours of the wall clock so that each can be chosen."""
    starts_at = span.starts_at
    while starts_at < span.ends_at:
        local = starts_at.astimezone(zone)
        ends_at = span.ends_at
        if by_hour:
            ends_at = min(ends_at, starts_at + timedelta(minutes=60 - local.minute))
        piece = Span(starts_at, ends_at)
        yield piece, Gap(local, piece.minutes, span.minutes, starts_at == span.starts_at)
        starts_at = ends_at
