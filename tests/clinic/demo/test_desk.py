"""The front desk of the invented clinic has something to look at, on any day of the week."""

from collections import Counter
from datetime import date, timedelta
from itertools import pairwise

import pytest

from clinic.audit.models import Entry
from clinic.demo.loading import load
from clinic.scheduling.models import Appointment, Authorisation, Series, WaitListEntry
from clinic.scheduling.ranges import wall
from clinic.scheduling.selectors.authorisations import standings
from clinic.scheduling.staff_time import Closure, Room, WorkingHours
from clinic.scheduling.states import CANCELLED, Status, cancelled_status, may_become
from tests.clinic.demo.conftest import TODAY
from tests.clinic.demo.rows import digest, silent, tables


def on(appointment: Appointment) -> date:
    return wall(appointment.period.lower).date()


def sheet(day: date) -> list[Appointment]:
    return [one for one in Appointment.objects.all() if on(one) == day]


@pytest.mark.django_db
def test_the_desk_has_rooms_hours_bookings_and_people_who_wait(loaded: None) -> None:
    assert Room.objects.count() == 3
    assert set(WorkingHours.objects.values_list("therapist__sign_in_name", "weekday")) == {
        (name, weekday) for name in ("tomas", "amara", "leonie") for weekday in range(5)
    }
    assert Closure.objects.count() == 1
    assert 65 <= Appointment.objects.count() <= 75
    assert WaitListEntry.objects.filter(closed_at=None).count() == 2
    assert Series.objects.get().appointments.count() == 10


@pytest.mark.django_db
def test_todays_sheet_has_lines_in_many_states(loaded: None) -> None:
    states = Counter(one.status for one in sheet(TODAY))
    assert 10 <= states.total() <= 14
    assert set(states) == set(Status) - {Status.CANCELLED_EARLY}


@pytest.mark.django_db
def test_the_authorisation_is_running_out(loaded: None) -> None:
    (standing,) = standings(Authorisation.objects.get().client, on=TODAY)
    assert standing.is_current
    assert standing.is_running_out
    assert (standing.cover.used, standing.cover.booked, standing.cover.left) == (4, 1, 1)


@pytest.mark.django_db
def test_every_state_was_reached_by_steps_that_the_desk_may_take(loaded: None) -> None:
    for one in Appointment.objects.prefetch_related("status_changes"):
        changes = list(one.status_changes.order_by("pk"))
        assert changes[0].status == Status.BOOKED
        assert (changes[-1].status, changes[-1].at) == (one.status, one.status_at)
        for before, after in pairwise(changes):
            assert before.at < after.at
            assert may_become(Status(before.status), Status(after.status))
        if one.status in CANCELLED:
            notice = cancelled_status(starts_at=one.period.lower, now=one.status_at)
            assert notice == one.status
        assert one.booked_at == changes[0].at >= one.client.registered_at


@pytest.mark.django_db
def test_every_change_is_on_record_as_the_services_write_it(loaded: None) -> None:
    for one in Appointment.objects.filter(series=None).prefetch_related("status_changes"):
        written = Entry.objects.filter(subject=f"appointment:{one.pk}", client=one.client_id)
        kept = {(f"appointment.{each.status}", each.at) for each in one.status_changes.all()}
        assert set(written.values_list("verb", "at")) == kept
    assert Entry.objects.filter(verb="series.booked").count() == 1


@pytest.mark.django_db
def test_a_second_run_leaves_the_desk_alone(loaded: None) -> None:
    before = tables()
    assert before["scheduling.Appointment"]
    load(TODAY + timedelta(days=3), say=silent)
    assert digest(tables()) == digest(before)
