"""Rules against the examples printed in RFC 5545, and hours across clock changes."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from clinic.scheduling.recurrence import (
    MOST_DATES,
    EndlessRule,
    NoDates,
    RuleUnreadable,
    Stretch,
    TooManyDates,
    moments,
    moved_on_the_wall,
    rule_text,
    wall_shift,
    wall_times,
)

NEW_YORK, BERLIN = ZoneInfo("America/New_York"), ZoneInfo("Europe/Berlin")
DAILY, WORKDAYS = frozenset(range(7)), frozenset(range(5))
TUESDAY_THURSDAY = frozenset({1, 3})

# RFC 5545 (2009), section 3.8.5.3, the examples "all America/New_York" with the dates listed under
# each: first day, rule, number of dates, first and last date.
RFC_5545_3_8_5_3 = [
    ("19970902", "FREQ=DAILY;COUNT=10", 10, "1997-09-02", "1997-09-11"),
    ("19970902", "FREQ=DAILY;UNTIL=19971224T000000Z", 113, "1997-09-02", "1997-12-23"),
    ("19970902", "FREQ=WEEKLY;COUNT=10", 10, "1997-09-02", "1997-11-04"),
    (
        "19970901",
        "FREQ=WEEKLY;INTERVAL=2;UNTIL=19971224T000000Z;WKST=SU;BYDAY=MO,WE,FR",
        25,
        "1997-09-01",
        "1997-12-22",
    ),
    (
        "19970902",
        "FREQ=WEEKLY;INTERVAL=2;COUNT=8;WKST=SU;BYDAY=TU,TH",
        8,
        "1997-09-02",
        "1997-10-16",
    ),
    ("19970905", "FREQ=MONTHLY;COUNT=10;BYDAY=1FR", 10, "1997-09-05", "1998-06-05"),
    (
        "19970907",
        "FREQ=MONTHLY;INTERVAL=2;COUNT=10;BYDAY=1SU,-1SU",
        10,
        "1997-09-07",
        "1998-05-31",
    ),
    ("19970922", "FREQ=MONTHLY;COUNT=6;BYDAY=-2MO", 6, "1997-09-22", "1998-02-16"),
    ("19970902", "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=2,15", 10, "1997-09-02", "1998-01-15"),
    (
        "19970805",
        "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO",
        4,
        "1997-08-05",
        "1997-08-24",
    ),
    (
        "19970805",
        "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU",
        4,
        "1997-08-05",
        "1997-08-31",
    ),
]


@pytest.mark.parametrize(("starts", "rule", "count", "first", "last"), RFC_5545_3_8_5_3)
def test_the_printed_examples_come_out(
    starts: str, rule: str, count: int, first: str, last: str
) -> None:
    text = f"DTSTART;TZID=America/New_York:{starts}T090000\nRRULE:{rule}"
    found = wall_times(text, NEW_YORK)
    assert len(found) == count
    assert (found[0].isoformat(), found[-1].isoformat()) == (
        f"{first}T09:00:00",
        f"{last}T09:00:00",
    )


# RFC 5545, 3.8.5.3, "Weekly for 10 occurrences": the list is headed 9:00 AM EDT up to October 21
# and 9:00 AM EST from October 28.
def test_the_hour_stays_while_the_offset_changes() -> None:
    found = moments("DTSTART:19970902T090000\nRRULE:FREQ=WEEKLY;COUNT=10", NEW_YORK)
    assert [at.hour for at in found] == [13] * 8 + [14] * 2
    assert {at.astimezone(NEW_YORK).time() for at in found} == {time(9)}


# tz database: New York changes on 8 March and 1 November 2026, Berlin on 29 March and 25 October.
@pytest.mark.parametrize(
    ("zone", "first_on", "utc_hours"),
    [
        (NEW_YORK, date(2026, 3, 6), [14, 14, 13, 13]),
        (NEW_YORK, date(2026, 10, 30), [13, 13, 14, 14]),
        (BERLIN, date(2026, 3, 27), [8, 8, 7, 7]),
        (BERLIN, date(2026, 10, 23), [7, 7, 8, 8]),
    ],
)
def test_nine_o_clock_stays_nine_over_a_clock_change(
    zone: ZoneInfo, first_on: date, utc_hours: list[int]
) -> None:
    text = rule_text([Stretch(DAILY, 1)], first_on=first_on, at=time(9))
    found = moments(text, zone)[:4]
    assert [at.hour for at in found] == utc_hours
    assert {at.tzinfo for at in found} == {UTC}


def test_daily_for_three_weeks_then_twice_weekly_for_two() -> None:
    stretches = [Stretch(WORKDAYS, 3), Stretch(TUESDAY_THURSDAY, 2)]
    text = rule_text(stretches, first_on=date(2026, 3, 2), at=time(10, 30))
    found = [at.date() for at in wall_times(text, NEW_YORK)]
    assert len(found) == 15 + 4
    assert found[:15] == [date(2026, 3, 2) + timedelta(days=d) for d in range(19) if d % 7 < 5]
    assert found[15:] == [date(2026, 3, day) for day in (24, 26, 31)] + [date(2026, 4, 2)]


def test_a_series_that_begins_in_the_middle_of_a_week_has_whole_weeks() -> None:
    text = rule_text([Stretch(WORKDAYS, 1)], first_on=date(2026, 3, 5), at=time(9))
    assert [at.day for at in wall_times(text, NEW_YORK)] == [5, 6, 9, 10, 11]


def test_dtstart_is_the_first_date_itself() -> None:
    """RFC 5545, 3.8.5.3: a DTSTART that its own rule does not name is undefined."""
    text = rule_text([Stretch(TUESDAY_THURSDAY, 1)], first_on=date(2026, 3, 4), at=time(9))
    assert text.startswith("DTSTART:20260305T090000\n")


@pytest.mark.parametrize(
    ("text", "error"),
    [
        ("DTSTART:20260302T090000\nRRULE:FREQ=DAILY", EndlessRule),
        ("DTSTART:20260302T090000\nRRULE:FREQ=FORTNIGHTLY;COUNT=2", RuleUnreadable),
        ("RRULE:FREQ=DAILY;COUNT=2", RuleUnreadable),
        ("every Tuesday", RuleUnreadable),
        ("", NoDates),
        ("DTSTART:20260302T090000\nRRULE:FREQ=DAILY;COUNT=9999", TooManyDates),
        ("DTSTART:20260302T090000\nRRULE:FREQ=DAILY;UNTIL=20250101T000000", NoDates),
    ],
)
def test_a_rule_that_cannot_be_followed_is_refused(text: str, error: type[Exception]) -> None:
    with pytest.raises(error):
        wall_times(text, NEW_YORK)


def test_the_longest_series_still_passes() -> None:
    rule = f"DTSTART:20260302T090000\nRRULE:FREQ=DAILY;COUNT={MOST_DATES}"
    assert len(wall_times(rule, NEW_YORK)) == MOST_DATES


@pytest.mark.parametrize("weekdays", [frozenset(), frozenset({0})])
def test_a_stretch_without_weekdays_or_weeks_names_no_date(weekdays: frozenset[int]) -> None:
    with pytest.raises(NoDates):
        rule_text([Stretch(weekdays, 0)], first_on=date(2026, 3, 2), at=time(9))


def test_moving_a_series_moves_the_wall_clock_not_the_hours_between() -> None:
    before = datetime(2026, 3, 6, 14, tzinfo=UTC)  # Friday, 9:00 in New York
    after = datetime(2026, 3, 9, 13, tzinfo=UTC)  # Monday, 9:00, the clocks have changed
    shift = wall_shift(before, datetime(2026, 3, 6, 15, 30, tzinfo=UTC), NEW_YORK)
    assert shift == timedelta(hours=1, minutes=30)
    assert moved_on_the_wall(after, shift, NEW_YORK).astimezone(NEW_YORK).time() == time(10, 30)
