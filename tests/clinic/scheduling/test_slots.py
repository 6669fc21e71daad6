"""Free times against a minute-by-minute look at the same week, and clock changes."""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil import tz
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.scheduling.slots import (
    Agenda,
    ClosedDays,
    Conflict,
    Fit,
    Hours,
    Place,
    Wish,
    conflicts,
    free_gaps,
    next_free,
    offers,
)
from clinic.scheduling.spans import Span, lasting, merged, moment, span, whole_day

NEW_YORK, BERLIN = ZoneInfo("America/New_York"), ZoneInfo("Europe/Berlin")
MONDAY = date(2026, 3, 2)
HOURS = tuple(Hours(day, time(9), time(12), 7) for day in range(5))
THEO, ROOM, OTHER_ROOM = 1, 7, 8


def on(day: date, clock: str, minutes: int = 60) -> Span:
    return span(day, time.fromisoformat(clock), minutes=minutes, zone=NEW_YORK)


def agenda(**differences: object) -> Agenda:
    values = {"zone": NEW_YORK, "hours": {THEO: HOURS}, "room_ids": (ROOM, OTHER_ROOM)}
    return Agenda(**values | differences)  # type: ignore[arg-type]


def wish(**differences: object) -> Wish:
    values = {
        "minutes": 60,
        "from_at": moment(MONDAY, time.min, NEW_YORK),
        "until_on": MONDAY + timedelta(days=6),
        "therapist_ids": (THEO,),
    }
    return Wish(**values | differences)  # type: ignore[arg-type]


def starts(found: list) -> list[str]:  # type: ignore[type-arg]
    return [f"{one.span.starts_at.astimezone(NEW_YORK):%a %H:%M}" for one in found]


# Wall times


@pytest.mark.parametrize("zone", ["America/New_York", "Europe/Berlin"])
@pytest.mark.parametrize("day", [date(2026, 3, 8), date(2026, 11, 1), date(2026, 3, 29)])
@pytest.mark.parametrize("hour", [0, 1, 2, 3, 9, 23])
def test_a_wall_time_is_the_moment_that_dateutil_finds(zone: str, day: date, hour: int) -> None:
    """Skipped and repeated hours included; dateutil reads the tz database itself."""
    said = datetime.combine(day, time(hour), tzinfo=tz.gettz(zone))
    expected = tz.resolve_imaginary(said).astimezone(UTC)
    assert moment(day, time(hour), ZoneInfo(zone)) == expected


# tz database: New York skips an hour on 8 March 2026 and repeats one on 1 November.
@pytest.mark.parametrize(
    ("day", "hours"), [(date(2026, 3, 8), 23), (date(2026, 11, 1), 25), (date(2026, 3, 9), 24)]
)
def test_a_day_has_the_hours_its_clock_shows(day: date, hours: int) -> None:
    assert whole_day(day, NEW_YORK).minutes == hours * 60


def test_free_times_keep_the_wall_clock_over_the_change() -> None:
    sundays = (Hours(6, time(9), time(10)),)
    for day in (date(2026, 3, 1), date(2026, 3, 8), date(2026, 11, 1)):
        (gap,) = free_gaps(Agenda(NEW_YORK, {THEO: sundays}), THEO, day)
        assert gap.minutes == 60
        assert gap.starts_at.astimezone(NEW_YORK).time() == time(9)


def test_hours_over_the_change_itself_are_as_long_as_they_really_are() -> None:
    night = (Hours(6, time(0), time(6)),)
    lengths = [
        sum(gap.minutes for gap in free_gaps(Agenda(zone, {THEO: night}), THEO, day))
        for zone, day in (
            (NEW_YORK, date(2026, 3, 8)),
            (NEW_YORK, date(2026, 11, 1)),
            (BERLIN, date(2026, 3, 29)),
        )
    ]
    assert lengths == [5 * 60, 7 * 60, 5 * 60]


# Gaps, against a look at every minute

MINUTES = st.integers(0, 24 * 60 - 1)
TAKEN = st.lists(st.tuples(MINUTES, st.integers(1, 180)), max_size=8)


def minutes_of(spans: list[Span]) -> set[datetime]:
    return {
        one.starts_at + timedelta(minutes=n)
        for one in spans
        for n in range(int((one.ends_at - one.starts_at).total_seconds() // 60))
    }


@settings(max_examples=60, deadline=None)
@given(TAKEN)
def test_a_gap_is_exactly_the_working_minutes_that_nobody_has(taken: list[tuple[int, int]]) -> None:
    midnight = moment(MONDAY, time.min, NEW_YORK)
    busy = merged(lasting(midnight + timedelta(minutes=at), long) for at, long in taken)
    gaps = free_gaps(agenda(of_therapist={THEO: busy}), THEO, MONDAY)
    working = minutes_of([on(MONDAY, "09:00", 180)])
    assert minutes_of(gaps) == working - minutes_of(busy)


@settings(max_examples=60, deadline=None)
@given(TAKEN, TAKEN, TAKEN)
def test_no_offer_has_anything_against_it(
    therapist: list[tuple[int, int]], room: list[tuple[int, int]], client: list[tuple[int, int]]
) -> None:
    midnight = moment(MONDAY, time.min, NEW_YORK)
    spans = [
        merged(lasting(midnight + timedelta(minutes=at), long) for at, long in each)
        for each in (therapist, room, client)
    ]
    known = agenda(of_therapist={THEO: spans[0]}, of_room={ROOM: spans[1]}, of_client=spans[2])
    for offer in offers(known, wish(until_on=MONDAY)):
        assert not conflicts(known, offer.place, offer.span)
        meant = minutes_of([offer.span])
        assert not meant & minutes_of(spans[0])
        assert not meant & minutes_of(spans[2])
        assert offer.place.room_id == OTHER_ROOM or not meant & minutes_of(spans[1])


# The list


def test_sooner_days_come_first_and_times_that_leave_no_gap_before_others() -> None:
    known = agenda(of_therapist={THEO: [on(MONDAY, "10:00", 30)]})
    assert starts(next_free(known, wish(until_on=MONDAY + timedelta(days=1)))) == [
        "Mon 09:00",
        "Mon 10:30",
        "Mon 11:00",
        "Tue 09:00",
        "Tue 11:00",
    ]


def test_the_list_keeps_to_the_days_and_hours_a_client_can_come() -> None:
    asked = wish(weekdays=frozenset({1, 3}), from_time=time(10), to_time=time(11, 30))
    found = next_free(agenda(), asked)
    assert starts(found) == ["Tue 10:00", "Tue 10:30", "Thu 10:00", "Thu 10:30"]
    assert not any(offer.leaves_no_gap for offer in found)


def test_a_room_is_found_the_therapists_own_first() -> None:
    (offer, *_) = next_free(agenda(), wish())
    assert (offer.place, Fit.OWN_ROOM in offer.fits) == (Place(THEO, ROOM), True)
    taken = agenda(of_room={ROOM: [on(MONDAY, "08:00", 600)]})
    (offer, *_) = next_free(taken, wish())
    assert (offer.place, Fit.OWN_ROOM in offer.fits) == (Place(THEO, OTHER_ROOM), False)


def test_without_a_free_room_nothing_is_offered_and_without_rooms_none_is_asked() -> None:
    full = [on(MONDAY, "08:00", 600)]
    taken = agenda(of_room={ROOM: full, OTHER_ROOM: full})
    assert not next_free(taken, wish(until_on=MONDAY))
    assert next_free(agenda(room_ids=()), wish(until_on=MONDAY))[0].place == Place(THEO, None)


def test_nothing_is_offered_before_now() -> None:
    now = moment(MONDAY, time(10, 5), NEW_YORK)
    assert starts(next_free(agenda(), wish(from_at=now, until_on=MONDAY)))[0] == "Mon 11:00"
    later = next_free(agenda(), wish(from_at=now, until_on=MONDAY, minutes=30))
    assert all(offer.span.starts_at >= now for offer in later)


def test_closed_days_and_absences_are_passed_over() -> None:
    known = agenda(
        closed=[ClosedDays(MONDAY, MONDAY + timedelta(days=1), "Founders' day")],
        away={THEO: [on(MONDAY + timedelta(days=2), "00:00", 48 * 60)]},
    )
    assert starts(next_free(known, wish()))[0] == "Fri 09:00"


# What stands against a time


@pytest.mark.parametrize(
    ("known", "wanted", "expected"),
    [
        ({}, on(MONDAY, "09:00"), ()),
        ({}, on(MONDAY, "11:30"), (Conflict.OUTSIDE_HOURS,)),
        ({}, on(MONDAY + timedelta(days=5), "09:00"), (Conflict.OUTSIDE_HOURS,)),
        ({"closed": [ClosedDays(MONDAY, MONDAY)]}, on(MONDAY, "09:00"), (Conflict.CLOSED,)),
        ({"away": {THEO: [on(MONDAY, "09:30", 15)]}}, on(MONDAY, "09:00"), (Conflict.AWAY,)),
        (
            {"of_therapist": {THEO: [on(MONDAY, "09:59", 1)]}},
            on(MONDAY, "09:00"),
            (Conflict.THERAPIST_BUSY,),
        ),
        ({"of_therapist": {THEO: [on(MONDAY, "10:00")]}}, on(MONDAY, "09:00"), ()),
        ({"of_therapist": {THEO: [on(MONDAY, "08:00")]}}, on(MONDAY, "09:00"), ()),
        ({"of_room": {ROOM: [on(MONDAY, "09:30")]}}, on(MONDAY, "09:00"), (Conflict.ROOM_BUSY,)),
        ({"of_client": [on(MONDAY, "08:30")]}, on(MONDAY, "09:00"), (Conflict.CLIENT_BUSY,)),
    ],
)
def test_each_obstacle_is_named(
    known: dict[str, object], wanted: Span, expected: tuple[Conflict, ...]
) -> None:
    assert conflicts(agenda(**known), Place(THEO, ROOM), wanted) == expected
