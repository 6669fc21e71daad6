"""Working hours, absences, closures, rooms and kinds of appointment."""

from collections.abc import Sequence
from datetime import datetime
from itertools import pairwise

from django.db import transaction

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.scheduling import errors
from clinic.scheduling.models import Appointment
from clinic.scheduling.ranges import stored
from clinic.scheduling.spans import Span
from clinic.scheduling.staff_time import AppointmentKind, Closure, Room, TimeOff, WorkingHours
from clinic.scheduling.states import MOVABLE


@transaction.atomic
def set_working_hours(*, therapist: User, hours: Sequence[WorkingHours], by: User) -> None:
    """Replace a therapist's weekly hours. What is booked already stays. Raises HoursOverlap."""
    for earlier, later in pairwise(sorted(hours, key=lambda one: (one.weekday, one.from_time))):
        if earlier.weekday == later.weekday and later.from_time < earlier.to_time:
            raise errors.HoursOverlap
    WorkingHours.objects.filter(therapist=therapist).delete()
    for one in hours:
        one.therapist = therapist
    WorkingHours.objects.bulk_create(hours)
    audit.record(by, "hours.set", subject=therapist)


@transaction.atomic
def add_time_off(
    *, therapist: User, starts_at: datetime, ends_at: datetime, reason: str, by: User
) -> int:
    """Keep an absence; returns how many appointments fall into it. Raises EndsBeforeStart."""
    if ends_at <= starts_at:
        raise errors.EndsBeforeStart("to_on")
    period = stored(Span(starts_at, ends_at))
    off = TimeOff.objects.create(therapist=therapist, period=period, reason=reason, by=by)
    audit.record(by, "time_off.added", subject=off)
    fallen = Appointment.objects.filter(therapist=therapist, period__overlap=period)
    return fallen.filter(status__in=sorted(MOVABLE)).count()


@transaction.atomic
def remove_time_off(*, off: TimeOff, by: User) -> None:
    """The therapist is there after all."""
    audit.record(by, "time_off.removed", subject=off)
    off.delete()


@transaction.atomic
def save_closure(*, closure: Closure, by: User) -> Closure:
    """Keep days on which the clinic is closed. Raises EndsBeforeStart."""
    if closure.last_on < closure.first_on:
        raise errors.EndsBeforeStart("last_on")
    closure.save()
    audit.record(by, "closure.saved", subject=closure)
    return closure


@transaction.atomic
def remove_closure(*, closure: Closure, by: User) -> None:
    """The clinic is open after all."""
    audit.record(by, "closure.removed", subject=closure)
    closure.delete()


@transaction.atomic
def save_room(*, room: Room, by: User) -> Room:
    """Keep a room's name, order, and whether it is in use."""
    room.full_clean()
    room.save()
    audit.record(by, "room.saved", subject=room)
    return room


@transaction.atomic
def save_kind(*, kind: AppointmentKind, by: User) -> AppointmentKind:
    """Keep a kind of appointment. What is booked already keeps its length."""
    kind.full_clean()
    kind.save()
    audit.record(by, "kind.saved", subject=kind)
    return kind
