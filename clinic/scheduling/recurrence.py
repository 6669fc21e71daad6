"""Dates of a series from a rule of RFC 5545, and a rule from a small form. Pure, with dateutil.

A rule text has, for each part of the series, a DTSTART line and an RRULE line. DTSTART is wall
time; the rule is followed on the wall clock and each date then becomes a moment, so that the hour
never shifts.
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import islice
from zoneinfo import ZoneInfo

from dateutil.rrule import rrulestr

from clinic.common.errors import RuleBroken
from clinic.scheduling.spans import moment

# More than a year of daily visits is a slip of the finger. Common practice, no source.
MOST_DATES = 260
BY_DAY = ("MO", "TU", "WE", "TH", "FR", "SA", "SU")
STAMP = "%Y%m%dT%H%M%S"
START_LINE = re.compile(r"DTSTART(?:;TZID=[^:]+|;VALUE=DATE-TIME)*:(\d{8}T\d{6})", re.I)
UTC_UNTIL = re.compile(r"UNTIL=(\d{8}T\d{6})Z", re.I)


class RuleUnreadable(RuleBroken):
    """The text is no recurrence rule of RFC 5545."""

    field = "rule"

    def __init__(self, text: str) -> None:
        super().__init__(text)
        self.text = text


class EndlessRule(RuleBroken):
    """A rule without COUNT or UNTIL never ends."""

    field = "rule"


class TooManyDates(RuleBroken):
    """More dates than a series may have."""

    def __init__(self, most: int) -> None:
        super().__init__(most)
        self.most = most


class NoDates(RuleBroken):
    """A rule that names no day at all."""


@dataclass(frozen=True)
class Stretch:
    """So many weeks of the same weekdays (Monday is 0)."""

    weekdays: frozenset[int]
    weeks: int


def rule_text(stretches: Sequence[Stretch], *, first_on: date, at: time) -> str:
    """The rule for stretches that follow one another from a first day, at one time of day.

    Weeks are counted from the first day, so "three weeks" is 21 days whatever weekday it is.
    Raises NoDates when a stretch names no weekday.
    """
    lines, begins_on = [], first_on
    for stretch in stretches:
        next_on = begins_on + timedelta(weeks=stretch.weeks)
        lines += _part_lines(stretch, begins_on, next_on - timedelta(days=1), at)
        begins_on = next_on
    return "\n".join(lines)


def _part_lines(stretch: Stretch, first_on: date, last_on: date, at: time) -> list[str]:
    if not stretch.weekdays or stretch.weeks < 1:
        raise NoDates
    starts_on = next(
        day
        for day in (first_on + timedelta(days=n) for n in range(7))
        if day.weekday() in stretch.weekdays
    )
    by_day = ",".join(BY_DAY[number] for number in sorted(stretch.weekdays))
    until = datetime.combine(last_on, time(23, 59, 59))
    return [
        f"DTSTART:{datetime.combine(starts_on, at):{STAMP}}",
        f"RRULE:FREQ=WEEKLY;BYDAY={by_day};UNTIL={until:{STAMP}}",
    ]


def wall_times(text: str, zone: ZoneInfo) -> list[datetime]:
    """The wall times a rule text names, ascending, each once, without a zone.

    `zone` reads an UNTIL given in UTC. Raises RuleUnreadable, EndlessRule, TooManyDates, NoDates.
    """
    named = {when for part in _parts(text) for when in _dates_of(*part, zone)}
    if not named:
        raise NoDates
    if len(named) > MOST_DATES:
        raise TooManyDates(MOST_DATES)
    return sorted(named)


def moments(text: str, zone: ZoneInfo) -> list[datetime]:
    """The same as moments in UTC: the wall clock keeps its hour across a clock change."""
    return [moment(when.date(), when.time(), zone) for when in wall_times(text, zone)]


def _parts(text: str) -> Iterator[tuple[datetime, str]]:
    """(start, rule) for each part of a text."""
    starts_at = None
    for line in filter(None, (line.strip() for line in text.splitlines())):
        if start := START_LINE.fullmatch(line):
            starts_at = datetime.strptime(start[1], STAMP)  # noqa: DTZ007  (wall time)
        elif starts_at and line.upper().startswith("RRULE:"):
            yield starts_at, line
        else:
            raise RuleUnreadable(line)


def _dates_of(starts_at: datetime, rule: str, zone: ZoneInfo) -> Iterable[datetime]:
    if not re.search(r"\b(COUNT|UNTIL)=", rule, re.I):
        raise EndlessRule
    on_the_wall = UTC_UNTIL.sub(lambda until: f"UNTIL={_wall(until[1], zone)}", rule)
    try:
        return islice(rrulestr(on_the_wall, dtstart=starts_at), MOST_DATES + 1)
    except (ValueError, TypeError) as error:
        raise RuleUnreadable(rule) from error


def _wall(stamp: str, zone: ZoneInfo) -> str:
    """A UTC stamp as the wall clock of the zone shows it."""
    until = datetime.strptime(stamp, STAMP).replace(tzinfo=UTC)
    return until.astimezone(zone).strftime(STAMP)


def moved_on_the_wall(at: datetime, by: timedelta, zone: ZoneInfo) -> datetime:
    """A moment moved by days, hours and minutes of the wall clock, in UTC."""
    local = at.astimezone(zone).replace(tzinfo=None) + by
    return moment(local.date(), local.time(), zone)


def wall_shift(old: datetime, new: datetime, zone: ZoneInfo) -> timedelta:
    """By how much the wall clock differs between two moments."""
    walls = (at.astimezone(zone).replace(tzinfo=None) for at in (new, old))
    return next(walls) - next(walls)
