"""Booking, moving, cancelling one appointment, and what becomes of it."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from clinic.audit.models import Entry
from clinic.scheduling import errors
from clinic.scheduling.models import Appointment
from clinic.scheduling.ranges import span_of, wall
from clinic.scheduling.services import booking as services
from clinic.scheduling.services import staff_time
from clinic.scheduling.services.booking import Booking
from clinic.scheduling.slots import Conflict
from clinic.scheduling.spans import lasting
from clinic.scheduling.staff_time import Closure
from clinic.scheduling.states import CancelReason, Status
from tests.builders import make_client
from tests.cast import Cast
from tests.clinic.scheduling.desk import (
    a_monday,
    at,
    booked,
    make_hours,
    make_kind,
    make_room,
    slot_at,
)


def book(cast: Cast, clock: str = "09:00", **differences: Any) -> Appointment:
    deliberate = differences.pop("is_deliberate", False)
    day = differences.pop("day", a_monday())
    return services.book(
        booking=Booking(make_client(), make_kind()),
        slot=slot_at(cast.therapist, day, clock, **differences),
        by=cast.front_desk,
        is_deliberate=deliberate,
    )


def states_of(appointment: Appointment) -> list[str]:
    return [change.status for change in appointment.status_changes.all()]


def test_a_booking_keeps_who_when_and_its_first_state(cast: Cast) -> None:
    make_hours(cast.therapist)
    made = book(cast, minutes=45)
    assert span_of(made.period) == lasting(at(a_monday(), "09:00"), 45)
    assert (made.status, made.booked_by, states_of(made)) == ("booked", cast.front_desk, ["booked"])
    entry = Entry.objects.get()
    assert (entry.verb, entry.client) == ("appointment.booked", made.client)


def test_a_day_gone_by_is_not_booked_but_an_hour_gone_by_today_is(cast: Cast) -> None:
    yesterday = timezone.localdate() - timedelta(days=1)
    with pytest.raises(errors.StartsInThePast):
        book(cast, day=yesterday, is_deliberate=True)
    assert book(cast, "00:05", day=timezone.localdate(), minutes=5, is_deliberate=True)


def test_time_that_is_taken_is_refused_even_on_purpose(cast: Cast) -> None:
    make_hours(cast.therapist)
    book(cast)
    with pytest.raises(errors.SlotTaken) as refused:
        book(cast, "09:30", is_deliberate=True)
    assert refused.value.conflicts == (Conflict.THERAPIST_BUSY,)
    assert Appointment.objects.count() == 1


def test_outside_hours_closed_and_away_need_a_decision(cast: Cast) -> None:
    make_hours(cast.therapist)
    monday = a_monday()
    tuesday, wednesday = monday + timedelta(days=1), monday + timedelta(days=2)
    staff_time.save_closure(
        closure=Closure(title="Founders' day", first_on=tuesday, last_on=tuesday), by=cast.lead
    )
    staff_time.add_time_off(
        therapist=cast.therapist,
        starts_at=at(wednesday, "08:00"),
        ends_at=at(wednesday, "12:00"),
        reason="",
        by=cast.lead,
    )
    against = [
        (monday, "07:00", Conflict.OUTSIDE_HOURS),
        (tuesday, "09:00", Conflict.CLOSED),
        (wednesday, "09:00", Conflict.AWAY),
    ]
    for day, clock, conflict in against:
        with pytest.raises(errors.NeedsOverruling) as refused:
            book(cast, clock, day=day)
        assert refused.value.conflicts == (conflict,)
        assert book(cast, clock, day=day, is_deliberate=True)


def test_moving_changes_the_time_and_counts_the_version(cast: Cast) -> None:
    make_hours(cast.therapist)
    room = make_room()
    made = book(cast)
    slot = slot_at(cast.therapist, a_monday(), "10:30", minutes=30, room=room)
    moved = services.move(appointment=made, slot=slot, version=1, by=cast.front_desk)
    made.refresh_from_db()
    assert span_of(made.period) == slot.span
    assert (made.room, made.version, moved.pk) == (room, 2, made.pk)


def test_an_appointment_may_be_moved_over_its_own_old_time(cast: Cast) -> None:
    make_hours(cast.therapist)
    made = book(cast)
    slot = slot_at(cast.therapist, a_monday(), "09:30")
    assert services.move(appointment=made, slot=slot, version=1, by=cast.front_desk)


def test_a_move_over_another_persons_move_is_refused(cast: Cast) -> None:
    make_hours(cast.therapist)
    made = book(cast)
    for_first, for_second = (
        slot_at(cast.therapist, a_monday(), clock) for clock in ("10:00", "11:00")
    )
    services.move(appointment=made, slot=for_first, version=1, by=cast.front_desk)
    with pytest.raises(errors.ChangedMeanwhile):
        services.move(appointment=made, slot=for_second, version=1, by=cast.therapist)
    made.refresh_from_db()
    assert span_of(made.period) == for_first.span


def test_what_has_begun_keeps_its_time(cast: Cast) -> None:
    made = booked(cast.therapist, timezone.localdate())
    services.change_status(appointment=made, status=Status.ARRIVED, by=cast.front_desk)
    slot = slot_at(cast.therapist, a_monday(), "10:00")
    with pytest.raises(errors.NotMovable):
        services.move(
            appointment=made, slot=slot, version=2, by=cast.front_desk, is_deliberate=True
        )


def test_each_state_is_kept_with_its_moment_and_its_person(cast: Cast) -> None:
    made = booked(cast.therapist, timezone.localdate())
    before = timezone.now()
    for status in (Status.CONFIRMED, Status.ARRIVED, Status.IN_SESSION, Status.DONE):
        services.change_status(appointment=made, status=status, by=cast.front_desk)
    made.refresh_from_db()
    assert states_of(made) == ["booked", "confirmed", "arrived", "in_session", "done"]
    assert made.status_at >= before
    assert {change.by for change in made.status_changes.all()[1:]} == {cast.front_desk}


@pytest.mark.parametrize("status", [Status.ARRIVED, Status.NO_SHOW])
def test_whether_a_client_came_is_not_said_before_the_day(cast: Cast, status: Status) -> None:
    made = booked(cast.therapist, timezone.localdate() + timedelta(days=1))
    with pytest.raises(errors.StillAhead):
        services.change_status(appointment=made, status=status, by=cast.front_desk)
    services.change_status(appointment=made, status=Status.CONFIRMED, by=cast.front_desk)
    made.refresh_from_db()
    assert made.status == Status.CONFIRMED


def test_a_state_that_cannot_follow_is_refused(cast: Cast) -> None:
    made = booked(cast.therapist, a_monday())
    with pytest.raises(errors.StatusNotNext) as refused:
        services.change_status(appointment=made, status=Status.DONE, by=cast.front_desk)
    assert (refused.value.present, refused.value.wanted) == (Status.BOOKED, Status.DONE)


def test_a_cancellation_keeps_its_reason_and_frees_the_time(cast: Cast) -> None:
    made = booked(cast.therapist, a_monday())
    services.cancel(appointment=made, reason=CancelReason.TRANSPORT, note="car", by=cast.front_desk)
    made.refresh_from_db()
    assert (made.status, made.cancel_reason, made.cancel_note) == (
        Status.CANCELLED_EARLY,
        CancelReason.TRANSPORT,
        "car",
    )
    assert booked(cast.therapist, a_monday())


def test_a_cancellation_on_the_day_is_late(cast: Cast) -> None:
    soon = wall(timezone.now() + timedelta(minutes=30))
    made = booked(cast.therapist, soon.date(), f"{soon:%H:%M}", minutes=5)
    services.cancel(appointment=made, reason=CancelReason.UNWELL, by=cast.front_desk)
    made.refresh_from_db()
    assert made.status == Status.CANCELLED_LATE


def test_a_no_show_pressed_by_mistake_comes_back_only_into_free_time(cast: Cast) -> None:
    first = booked(cast.therapist, timezone.localdate())
    services.change_status(appointment=first, status=Status.NO_SHOW, by=cast.front_desk)
    second = booked(cast.therapist, timezone.localdate())
    with pytest.raises(errors.SlotTaken):
        services.change_status(appointment=first, status=Status.BOOKED, by=cast.front_desk)
    services.cancel(appointment=second, reason=CancelReason.OTHER, by=cast.front_desk)
    services.change_status(appointment=first, status=Status.BOOKED, by=cast.front_desk)
    first.refresh_from_db()
    assert first.status == Status.BOOKED


def test_kept_states_cannot_be_rewritten(cast: Cast) -> None:
    made = booked(cast.therapist, a_monday())
    with pytest.raises(Exception, match="Cannot update"):
        made.status_changes.update(status=Status.DONE)
