"""Book one appointment, move it, or put it into another state."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Client
from clinic.scheduling import errors
from clinic.scheduling.models import Appointment, Authorisation, StatusChange
from clinic.scheduling.ranges import span_of, stored, wall
from clinic.scheduling.selectors.agenda import Asked, agenda
from clinic.scheduling.services.locks import take_turns
from clinic.scheduling.slots import NEVER, Conflict, Place, conflicts
from clinic.scheduling.spans import Span, lasting
from clinic.scheduling.staff_time import AppointmentKind, Room
from clinic.scheduling.states import (
    FREED,
    MOVABLE,
    TOLD_ON_THE_DAY,
    CancelReason,
    Status,
    cancelled_status,
    may_become,
)


@dataclass(frozen=True)
class Slot:
    """A time with a therapist and perhaps a room."""

    therapist: User
    room: Room | None
    starts_at: datetime
    minutes: int

    @property
    def span(self) -> Span:
        return lasting(self.starts_at, self.minutes)

    @property
    def place(self) -> Place:
        return Place(self.therapist.pk, self.room.pk if self.room else None)


@dataclass(frozen=True)
class Booking:
    """Who comes, what for, and what the desk should know."""

    client: Client
    kind: AppointmentKind
    desk_note: str = ""
    authorisation: Authorisation | None = None


@transaction.atomic
def book(*, booking: Booking, slot: Slot, by: User, is_deliberate: bool = False) -> Appointment:
    """Give a slot to a client.

    Raises StartsInThePast, SlotTaken, and NeedsOverruling (closed, away, outside hours) unless it
    is done deliberately.
    """
    refuse_past(slot.starts_at)
    hold(slot, booking.client)
    refuse_conflicts(slot, booking.client, is_deliberate=is_deliberate)
    now = timezone.now()
    appointment = appointment_of(booking, slot, now=now, by=by)
    save_held(appointment, slot)
    StatusChange.objects.create(appointment=appointment, status=Status.BOOKED, at=now, by=by)
    audit.record(by, "appointment.booked", client=booking.client, subject=appointment)
    return appointment


@transaction.atomic
def move(
    *, appointment: Appointment, slot: Slot, version: int, by: User, is_deliberate: bool = False
) -> Appointment:
    """Give an appointment another time, length, therapist or room.

    `version` is what the person had before them. Raises ChangedMeanwhile, NotMovable,
    StartsInThePast, SlotTaken, NeedsOverruling.
    """
    refuse_past(slot.starts_at)
    hold(slot, appointment.client)
    stored_one = locked(appointment)
    if stored_one.version != version:
        raise errors.ChangedMeanwhile(stored_one)
    refuse_immovable(stored_one)
    refuse_conflicts(
        slot, appointment.client, is_deliberate=is_deliberate, but_not=[appointment.pk]
    )
    stored_one.therapist, stored_one.room = slot.therapist, slot.room
    stored_one.period = stored(slot.span)
    stored_one.version += 1
    save_held(stored_one, slot)
    audit.record(by, "appointment.moved", client=stored_one.client, subject=stored_one)
    return stored_one


@transaction.atomic
def change_status(*, appointment: Appointment, status: Status, by: User) -> Appointment:
    """Put an appointment into a state that may follow. Raises StatusNotNext, StillAhead, SlotTaken.

    Cancelling needs a reason: use `cancel`.
    """
    return _enter(appointment, status, by=by)


@transaction.atomic
def cancel(
    *, appointment: Appointment, reason: CancelReason, by: User, note: str = ""
) -> Appointment:
    """Cancel, early or late by the notice given. Raises StatusNotNext."""
    status = cancelled_status(starts_at=appointment.period.lower, now=timezone.now())
    return _enter(appointment, status, by=by, why=(reason, note))


@transaction.atomic
def edit_desk_note(*, appointment: Appointment, desk_note: str, by: User) -> Appointment:
    """Change what the desk should know."""
    stored_one = locked(appointment)
    stored_one.desk_note = desk_note
    stored_one.save(update_fields=["desk_note"])
    audit.record(by, "appointment.noted", client=stored_one.client, subject=stored_one)
    return stored_one


@transaction.atomic
def note_seen(*, appointment: Appointment, by: User) -> None:
    """Record that somebody opened an appointment."""
    audit.record(by, "appointment.seen", client=appointment.client, subject=appointment)


def _enter(
    appointment: Appointment, status: Status, *, by: User, why: tuple[str, str] = ("", "")
) -> Appointment:
    hold(slot_of(appointment), appointment.client)
    stored_one = locked(appointment)
    present = Status(stored_one.status)
    if not may_become(present, status):
        raise errors.StatusNotNext(present, status)
    refuse_ahead(stored_one, status)
    if present in FREED:
        refuse_taken(slot_of(stored_one), stored_one.client, but_not=[stored_one.pk])
    enter_status([stored_one], status, by=by, why=why)
    save_held(stored_one, slot_of(stored_one))
    audit.record(by, f"appointment.{status}", client=stored_one.client, subject=stored_one)
    return stored_one


def enter_status(
    appointments: list[Appointment], status: Status, *, by: User, why: tuple[str, str]
) -> None:
    """Set the state of rows that the caller saves, and keep when it came about."""
    now = timezone.now()
    reason, note = why
    for one in appointments:
        one.status, one.status_at = status, now
        one.cancel_reason, one.cancel_note = reason, note
        one.version += 1
    StatusChange.objects.bulk_create(
        StatusChange(appointment=one, status=status, at=now, by=by, reason=reason, note=note)
        for one in appointments
    )


# Rules shared with series


def slot_of(appointment: Appointment) -> Slot:
    span = span_of(appointment.period)
    return Slot(appointment.therapist, appointment.room, span.starts_at, span.minutes)


def appointment_of(booking: Booking, slot: Slot, *, now: datetime, by: User) -> Appointment:
    """An unsaved row."""
    return Appointment(
        client=booking.client,
        kind=booking.kind,
        desk_note=booking.desk_note,
        authorisation=booking.authorisation,
        therapist=slot.therapist,
        room=slot.room,
        period=stored(slot.span),
        status=Status.BOOKED,
        status_at=now,
        booked_by=by,
    )


def hold(slot: Slot, client: Client) -> None:
    take_turns(
        therapist_ids=[slot.therapist.pk],
        room_ids=[slot.place.room_id],
        client_ids=[client.pk],
    )


def locked(appointment: Appointment) -> Appointment:
    rows = Appointment.objects.select_for_update(of=("self",))
    return rows.select_related("client", "therapist", "room", "kind").get(pk=appointment.pk)


def refuse_past(starts_at: datetime) -> None:
    """A day gone by is not booked; an hour gone by today is, for somebody who walked in."""
    if wall(starts_at).date() < timezone.localdate():
        raise errors.StartsInThePast


def refuse_ahead(appointment: Appointment, status: Status) -> None:
    """Whether a client came is not said before the day."""
    starts_at = appointment.period.lower
    if status in TOLD_ON_THE_DAY and wall(starts_at).date() > timezone.localdate():
        raise errors.StillAhead(starts_at)


def refuse_immovable(appointment: Appointment) -> None:
    if Status(appointment.status) not in MOVABLE:
        raise errors.NotMovable(Status(appointment.status))


def conflicts_of(
    slot: Slot, client: Client, *, but_not: Collection[UUID] = ()
) -> tuple[Conflict, ...]:
    """What stands against a slot at this moment. Five queries."""
    on = wall(slot.starts_at).date()
    last_on = wall(slot.span.ends_at).date()
    asked = Asked(on, last_on, [slot.therapist.pk], client.pk, but_not)
    return conflicts(agenda(asked), slot.place, slot.span)


def refuse_conflicts(
    slot: Slot, client: Client, *, is_deliberate: bool, but_not: Collection[UUID] = ()
) -> None:
    found = conflicts_of(slot, client, but_not=but_not)
    if taken := [one for one in found if one in NEVER]:
        raise errors.SlotTaken(taken, slot.starts_at)
    if found and not is_deliberate:
        raise errors.NeedsOverruling(found)


def refuse_taken(slot: Slot, client: Client, *, but_not: Collection[UUID]) -> None:
    refuse_conflicts(slot, client, is_deliberate=True, but_not=but_not)


def save_held(appointment: Appointment, slot: Slot) -> None:
    """Save; a writer who took no turn and was quicker is told apart by the database."""
    try:
        with transaction.atomic():
            appointment.save()
    except IntegrityError as error:
        raise errors.SlotTaken(blocked_by(error), slot.starts_at) from error


BLOCKED_BY = {
    "therapist_once_at_a_time": Conflict.THERAPIST_BUSY,
    "room_once_at_a_time": Conflict.ROOM_BUSY,
    "client_once_at_a_time": Conflict.CLIENT_BUSY,
}


def blocked_by(error: IntegrityError) -> list[Conflict]:
    """Which promise a write would have broken. Raises the error again if none of these."""
    diagnosis = getattr(error.__cause__, "diag", None)
    name = getattr(diagnosis, "constraint_name", None)
    if name not in BLOCKED_BY:
        raise error
    return [BLOCKED_BY[name]]
