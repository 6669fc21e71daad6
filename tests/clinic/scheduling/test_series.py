"""A series: judged before it is saved, saved whole or not at all, changed in part or as a whole."""

from datetime import date, time, timedelta
from typing import Any

import pytest

from clinic.clients.models import Client
from clinic.scheduling import errors
from clinic.scheduling.models import Appointment, Series, StatusChange
from clinic.scheduling.ranges import wall, zone
from clinic.scheduling.recurrence import Stretch, moments, rule_text
from clinic.scheduling.selectors.near import series_plan
from clinic.scheduling.services import booking as single
from clinic.scheduling.services import staff_time
from clinic.scheduling.services.booking import Booking, Slot
from clinic.scheduling.services.series import (
    ChosenDate,
    book_series,
    cancel_series,
    move_series,
)
from clinic.scheduling.slots import Conflict, Place
from clinic.scheduling.spans import lasting, moment
from clinic.scheduling.staff_time import Closure
from clinic.scheduling.states import CancelReason, Status
from clinic.scheduling.words import Scope
from tests.builders import make_client
from tests.cast import Cast
from tests.clinic.scheduling.desk import a_monday, at, booked, make_hours, make_kind, slot_at

WORKDAYS = frozenset(range(5))


def pattern(first_on: date, *, weeks: int = 1, clock: str = "09:00") -> str:
    return rule_text([Stretch(WORKDAYS, weeks)], first_on=first_on, at=time.fromisoformat(clock))


def a_series(cast: Cast, **differences: Any) -> Series:
    rule = pattern(differences.pop("first_on", a_monday()), **differences)
    slots = [Slot(cast.therapist, None, starts_at, 60) for starts_at in moments(rule, zone())]
    return book_series(
        booking=Booking(make_client(), make_kind()),
        rule=rule,
        dates=[ChosenDate(slot) for slot in slots],
        by=cast.front_desk,
    )


def clocks(series: Series) -> list[str]:
    rows = Appointment.objects.filter(series=series).order_by("period")
    return [f"{wall(row.period.lower):%a %H:%M}" for row in rows]


def plan_of(cast: Cast, client: Client, **differences: Any) -> list[Any]:
    rule = pattern(a_monday(), **differences)
    spans = [lasting(starts_at, 60) for starts_at in moments(rule, zone())]
    return series_plan(Place(cast.therapist.pk), spans, client)


# Before saving


def test_the_plan_names_what_stands_against_each_date(cast: Cast) -> None:
    make_hours(cast.therapist)
    monday, client = a_monday(), make_client()
    booked(cast.therapist, monday, "09:30")
    booked(cast.other_therapist, monday + timedelta(days=1), "08:30", client=client)
    day = monday + timedelta(days=2)
    staff_time.save_closure(
        closure=Closure(title="Founders' day", first_on=day, last_on=day), by=cast.lead
    )
    planned = plan_of(cast, client)
    assert [date.conflicts for date in planned] == [
        (Conflict.THERAPIST_BUSY,),
        (Conflict.CLIENT_BUSY,),
        (Conflict.CLOSED,),
        (),
        (),
    ]
    assert planned[2].closure == "Founders' day"


def test_for_a_taken_date_the_nearest_free_time_of_the_day_is_proposed_first(cast: Cast) -> None:
    make_hours(cast.therapist)
    booked(cast.therapist, a_monday(), "09:00", minutes=90)
    (taken, *others) = plan_of(cast, make_client())
    assert not any(date.near for date in others)
    nearest = taken.near[0].span.starts_at
    assert nearest in {at(a_monday(), "08:00"), at(a_monday(), "10:30")}


def test_a_closed_day_is_moved_to_a_neighbouring_day_that_the_series_leaves_free(
    cast: Cast,
) -> None:
    make_hours(cast.therapist, weekdays=range(7))
    friday = a_monday() + timedelta(days=4)
    closure = Closure(title="Founders' day", first_on=friday, last_on=friday)
    staff_time.save_closure(closure=closure, by=cast.lead)
    closed = plan_of(cast, make_client())[4]
    assert closed.near[0].span.starts_at == at(friday + timedelta(days=1), "09:00")


def test_one_free_time_is_not_proposed_first_for_two_dates(cast: Cast) -> None:
    make_hours(cast.therapist, parts=[(time(9), time(10))], weekdays=[0, 1, 2])
    for days in (0, 1):
        booked(cast.therapist, a_monday() + timedelta(days=days), "09:00")
    planned = plan_of(cast, make_client())
    first = [date.near[0].span for date in planned if date.near]
    assert len(first) == len(set(first))


# Saving


def test_a_series_is_saved_with_its_rule_and_every_date(cast: Cast) -> None:
    make_hours(cast.therapist)
    series = a_series(cast, weeks=3)
    assert series.appointments.count() == 15
    assert StatusChange.objects.filter(appointment__series=series).count() == 15
    assert "RRULE:FREQ=WEEKLY;BYDAY=MO,TU,WE,TH,FR" in series.rule
    assert set(clocks(series)) == {f"{day} 09:00" for day in ("Mon", "Tue", "Wed", "Thu", "Fri")}


def test_one_taken_date_saves_nothing_and_names_the_date(cast: Cast) -> None:
    make_hours(cast.therapist)
    booked(cast.therapist, a_monday() + timedelta(days=3), "09:30")
    with pytest.raises(errors.SeriesBlocked) as refused:
        a_series(cast)
    (blocked,) = refused.value.blocked
    assert wall(blocked.span.starts_at).date() == a_monday() + timedelta(days=3)
    assert blocked.conflicts == (Conflict.THERAPIST_BUSY,)
    assert not Series.objects.exists()
    assert Appointment.objects.count() == 1


def test_dates_that_overlap_each_other_save_nothing(cast: Cast) -> None:
    make_hours(cast.therapist)
    slots = [slot_at(cast.therapist, a_monday(), clock) for clock in ("09:00", "09:30")]
    with pytest.raises(errors.SeriesBlocked):
        book_series(
            booking=Booking(make_client(), make_kind()),
            rule="",
            dates=[ChosenDate(slot) for slot in slots],
            by=cast.front_desk,
        )
    assert not Appointment.objects.exists()


def test_a_series_keeps_its_hour_over_a_clock_change(cast: Cast) -> None:
    """New York, 1 November 2026 and every later first Sunday of November: tz database."""
    make_hours(cast.therapist)
    year = a_monday().year + 1
    first_sunday = next(
        day for day in (date(year, 11, n) for n in range(1, 8)) if day.weekday() == 6
    )
    series = a_series(cast, first_on=first_sunday - timedelta(days=6), weeks=2)
    assert {clock[4:] for clock in clocks(series)} == {"09:00"}
    hours = {row.period.lower.hour for row in series.appointments.all()}
    assert len(hours) == 2  # in UTC the hour does change


# Changing


@pytest.fixture
def series(cast: Cast) -> Series:
    make_hours(cast.therapist)
    return a_series(cast, weeks=2)


def the(series: Series, number: int) -> Appointment:
    return list(series.appointments.order_by("period"))[number]


@pytest.mark.parametrize(
    ("scope", "moved"), [(Scope.ONE, 1), (Scope.FOLLOWING, 7), (Scope.ALL, 10)]
)
def test_a_move_reaches_one_the_following_or_all(
    cast: Cast, series: Series, scope: Scope, moved: int
) -> None:
    third = the(series, 3)
    slot = slot_at(cast.therapist, wall(third.period.lower).date(), "13:30", minutes=45)
    rows = move_series(appointment=third, slot=slot, scope=scope, by=cast.front_desk)
    assert len(rows) == moved
    assert [clock[4:] for clock in clocks(series)].count("13:30") == moved
    assert len(series.appointments.filter(version=2)) == moved


def test_a_series_may_step_into_its_own_old_times(cast: Cast, series: Series) -> None:
    """Every date moves by a day, each onto the old time of the next."""
    first = the(series, 0)
    slot = slot_at(cast.therapist, a_monday() + timedelta(days=1), "09:00")
    move_series(
        appointment=first, slot=slot, scope=Scope.ALL, by=cast.front_desk, is_deliberate=True
    )
    assert clocks(series)[:5] == ["Tue 09:00", "Wed 09:00", "Thu 09:00", "Fri 09:00", "Sat 09:00"]


def test_a_move_that_one_date_cannot_follow_moves_none(cast: Cast, series: Series) -> None:
    before = clocks(series)
    booked(cast.therapist, a_monday() + timedelta(days=8), "13:00")
    slot = slot_at(cast.therapist, a_monday(), "13:30")
    with pytest.raises(errors.SeriesBlocked):
        move_series(appointment=the(series, 0), slot=slot, scope=Scope.ALL, by=cast.front_desk)
    assert clocks(series) == before


def test_what_has_begun_or_was_cancelled_is_left_out(cast: Cast, series: Series) -> None:
    # As on its day, which is still to come for the service.
    series.appointments.filter(pk=the(series, 0).pk).update(status=Status.ARRIVED)
    single.cancel(appointment=the(series, 1), reason=CancelReason.COST, by=cast.front_desk)
    rows = cancel_series(
        appointment=the(series, 2),
        scope=Scope.ALL,
        reason=CancelReason.HOSPITAL,
        by=cast.front_desk,
    )
    assert len(rows) == 8
    states = [row.status for row in series.appointments.order_by("period")]
    assert states[:2] == [Status.ARRIVED, Status.CANCELLED_EARLY]
    assert set(states[2:]) == {Status.CANCELLED_EARLY}


def test_cancelling_the_rest_frees_exactly_the_rest(cast: Cast, series: Series) -> None:
    cancel_series(
        appointment=the(series, 5),
        scope=Scope.FOLLOWING,
        reason=CancelReason.OTHER_TIME,
        by=cast.front_desk,
    )
    assert series.appointments.filter(status=Status.BOOKED).count() == 5
    assert booked(cast.therapist, a_monday() + timedelta(days=7), "09:00")
    with pytest.raises(errors.NothingLeftToChange):
        cancel_series(
            appointment=the(series, 6),
            scope=Scope.FOLLOWING,
            reason=CancelReason.OTHER,
            by=cast.front_desk,
        )


def test_a_booking_that_belongs_to_no_series_is_changed_alone(cast: Cast, series: Series) -> None:
    lone = booked(cast.therapist, a_monday(), "14:00")
    rows = cancel_series(
        appointment=lone, scope=Scope.ALL, reason=CancelReason.OTHER, by=cast.front_desk
    )
    assert [row.pk for row in rows] == [lone.pk]
    assert moment(a_monday(), time(9), zone()) == the(series, 0).period.lower
