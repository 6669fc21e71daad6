"""Whatever day of the week the demo is loaded on, the desk's bookings never clash."""

from datetime import date, timedelta
from itertools import combinations, pairwise

import pytest

from clinic.common.vocabulary import Role
from clinic.demo import scenario
from clinic.demo.clock import nth_working_day
from clinic.demo.desk import furnish_desk
from clinic.demo.stage import Cast, Stage
from clinic.scheduling.models import Appointment
from clinic.scheduling.ranges import wall
from clinic.scheduling.staff_time import Closure
from clinic.scheduling.states import HOLDING, Status
from tests.builders import make_client
from tests.cast import make_staff

A_SATURDAY = date(2026, 3, 7)
# The clocks of the practice's zone go forward on 8 March 2026 (second Sunday of March, US law).
A_WEEK = [A_SATURDAY + timedelta(days=shift) for shift in range(7)]

ONCE_AT_A_TIME = ("therapist_id", "room_id", "client_id")


def on(appointment: Appointment) -> date:
    return wall(appointment.period.lower).date()


def furnished(today: date) -> None:
    """The desk alone, beside accounts and clients that only have their keys."""
    staff = {
        person["sign_in_name"]: make_staff(
            person["sign_in_name"], person["display_name"], Role(person["role"])
        )
        for person in scenario.clinic()["staff"]
    }
    for story in scenario.stories():
        make_client(id=story.client_id, given_name=story.name)
    furnish_desk(Stage(today, Cast(staff, {}, staff["frida"], staff["leonie"])), -730)


@pytest.mark.django_db
@pytest.mark.parametrize("today", A_WEEK, ids=lambda day: f"{day:%A}")
def test_nothing_overlaps_and_nothing_is_done_ahead_of_its_day(today: date) -> None:
    furnished(today)
    rows = list(Appointment.objects.all())
    holding = [one for one in rows if one.status in HOLDING]
    for one, other in combinations(holding, 2):
        if any(getattr(one, name) == getattr(other, name) for name in ONCE_AT_A_TIME):
            assert one.period.upper <= other.period.lower or other.period.upper <= one.period.lower
    ahead = {one.status for one in rows if on(one) > today}
    assert ahead <= {Status.BOOKED, Status.CONFIRMED, Status.CANCELLED_EARLY}
    assert 9 <= sum(on(one) == nth_working_day(today, 0) for one in rows) <= 14
    assert sum(on(one) == today for one in rows) >= 3
    assert Closure.objects.get().first_on not in {on(one) for one in rows}


@pytest.mark.parametrize("today", A_WEEK, ids=lambda day: f"{day:%A}")
def test_working_days_follow_one_another_without_weekends(today: date) -> None:
    days = [nth_working_day(today, number) for number in range(-12, 16)]
    assert all(day.weekday() < 5 for day in days)
    assert {after - before for before, after in pairwise(days)} == {
        timedelta(days=1),
        timedelta(days=3),
    }
    assert timedelta(0) <= nth_working_day(today, 0) - today <= timedelta(days=2)
