"""Book, move or cancel a whole series: all of it or nothing."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import timedelta
from itertools import pairwise

from django.db import IntegrityError, transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Client
from clinic.scheduling import errors
from clinic.scheduling.models import Appointment, Series, StatusChange
from clinic.scheduling.ranges import stored, wall, zone
from clinic.scheduling.recurrence import moved_on_the_wall, wall_shift
from clinic.scheduling.selectors.agenda import Asked, agenda
from clinic.scheduling.series_plan import PlannedDate, judge
from clinic.scheduling.services import booking as single
from clinic.scheduling.services.booking import Booking, Slot
from clinic.scheduling.services.locks import take_turns
from clinic.scheduling.slots import NEVER, Conflict
from clinic.scheduling.states import MOVABLE, CancelReason, Status, cancelled_status
from clinic.scheduling.words import Scope


@dataclass(frozen=True)
class ChosenDate:
    """One date of a series as somebody decided it; deliberate: closed or away is known."""

    slot: Slot
    is_deliberate: bool = False


@transaction.atomic
def book_series(*, booking: Booking, rule: str, dates: Sequence[ChosenDate], by: User) -> Series:
    """Book every date, or none. Raises NothingLeftToChange, StartsInThePast, SeriesBlocked."""
    if not dates:
        raise errors.NothingLeftToChange
    ordered = sorted(dates, key=lambda chosen: chosen.slot.starts_at)
    single.refuse_past(ordered[0].slot.starts_at)
    _hold([chosen.slot for chosen in ordered], booking.client)
    _refuse_blocked(ordered, booking.client)
    first = ordered[0].slot
    series = Series.objects.create(
        client=booking.client,
        therapist=first.therapist,
        room=first.room,
        kind=booking.kind,
        rule=rule,
        starts_at=first.starts_at,
        minutes=first.minutes,
        booked_by=by,
    )
    _save_dates(series, booking, [chosen.slot for chosen in ordered], by=by)
    audit.record(by, "series.booked", client=booking.client, subject=series)
    return series


@transaction.atomic
def move_series(
    *, appointment: Appointment, slot: Slot, scope: Scope, by: User, is_deliberate: bool = False
) -> list[Appointment]:
    """Move an appointment to a slot, and the others of its series by as much on the wall clock.

    Therapist, room and length become those of the slot. Raises NothingLeftToChange,
    StartsInThePast, SeriesBlocked.
    """
    rows = _rows_to_change(appointment, scope)
    slots = _shifted(rows, appointment, slot)
    single.refuse_past(slots[0].starts_at)
    _hold(slots, appointment.client)
    rows = _locked(rows)
    _refuse_blocked(
        [ChosenDate(one, is_deliberate) for one in slots],
        appointment.client,
        but_not=rows,
    )
    for row, new in zip(rows, slots, strict=True):
        row.therapist, row.room, row.period = new.therapist, new.room, stored(new.span)
        row.version += 1
    with _told_apart(slots):
        Appointment.objects.bulk_update(rows, ["therapist", "room", "period", "version"])
    audit.record(by, "series.moved", client=appointment.client, subject=appointment.series)
    return rows


@transaction.atomic
def cancel_series(
    *, appointment: Appointment, scope: Scope, reason: CancelReason, by: User, note: str = ""
) -> list[Appointment]:
    """Cancel part of a series, each date early or late by its own notice.

    Raises NothingLeftToChange.
    """
    rows, now = _locked(_rows_to_change(appointment, scope)), timezone.now()
    for status in (Status.CANCELLED_EARLY, Status.CANCELLED_LATE):
        due = [
            one for one in rows if cancelled_status(starts_at=one.period.lower, now=now) is status
        ]
        single.enter_status(due, status, by=by, why=(reason, note))
    fields = ["status", "status_at", "cancel_reason", "cancel_note", "version"]
    Appointment.objects.bulk_update(rows, fields)
    audit.record(by, "series.cancelled", client=appointment.client, subject=appointment.series)
    return rows


def _rows_to_change(appointment: Appointment, scope: Scope) -> list[Appointment]:
    """The appointments of the series that a change reaches, ascending."""
    if scope is Scope.ONE or appointment.series_id is None:
        rows = Appointment.objects.filter(pk=appointment.pk)
    else:
        since = appointment.period.lower if scope is Scope.FOLLOWING else timezone.now()
        rows = Appointment.objects.filter(
            series=appointment.series_id, period__startswith__gte=since
        )
    found = list(rows.filter(status__in=sorted(MOVABLE)).order_by("period"))
    if not found:
        raise errors.NothingLeftToChange
    return found


def _locked(rows: Sequence[Appointment]) -> list[Appointment]:
    """The same rows as they stand now, locked. Raises ChangedMeanwhile if one was changed."""
    seen = {one.pk: one.version for one in rows}
    standing = list(
        Appointment.objects.select_for_update(of=("self",))
        .select_related("therapist", "room")
        .filter(pk__in=seen)
        .order_by("period")
    )
    for one in standing:
        if one.version != seen[one.pk]:
            raise errors.ChangedMeanwhile(one)
    return standing


def _shifted(rows: Sequence[Appointment], moved: Appointment, slot: Slot) -> list[Slot]:
    by = wall_shift(moved.period.lower, slot.starts_at, zone())
    return [
        replace(slot, starts_at=moved_on_the_wall(one.period.lower, by, zone())) for one in rows
    ]


def _hold(slots: Sequence[Slot], client: Client) -> None:
    take_turns(
        therapist_ids={slot.therapist.pk for slot in slots},
        room_ids={slot.place.room_id for slot in slots},
        client_ids=[client.pk],
    )


def _refuse_blocked(
    dates: Sequence[ChosenDate], client: Client, *, but_not: Sequence[Appointment] = ()
) -> None:
    """Raises SeriesBlocked with every date that something stands against."""
    slots = [chosen.slot for chosen in dates]
    asked = Asked(
        first_on=wall(slots[0].starts_at).date(),
        last_on=wall(slots[-1].span.ends_at).date() + timedelta(days=1),
        therapist_ids={slot.therapist.pk for slot in slots},
        client_id=client.pk,
        but_not=[one.pk for one in but_not],
    )
    standing = agenda(asked)
    judged = [(judge(standing, one.slot.place, one.slot.span), one.is_deliberate) for one in dates]
    blocked = [date for date, is_deliberate in judged if _is_blocked(date, is_deliberate)]
    if blocked := blocked or _own_overlaps(slots):
        raise errors.SeriesBlocked(blocked)


def _is_blocked(date: PlannedDate, is_deliberate: bool) -> bool:
    return bool(NEVER.intersection(date.conflicts) or (date.conflicts and not is_deliberate))


def _own_overlaps(slots: Sequence[Slot]) -> list[PlannedDate]:
    """Dates that overlap the one before them in the same series."""
    return [
        PlannedDate(later.span, later.place, (Conflict.CLIENT_BUSY,))
        for earlier, later in pairwise(slots)
        if later.span.overlaps(earlier.span)
    ]


def _save_dates(series: Series, booking: Booking, slots: Sequence[Slot], *, by: User) -> None:
    now = timezone.now()
    rows = [single.appointment_of(booking, slot, now=now, by=by) for slot in slots]
    for row in rows:
        row.series = series
    with _told_apart(slots):
        Appointment.objects.bulk_create(rows)
    StatusChange.objects.bulk_create(
        StatusChange(appointment=row, status=Status.BOOKED, at=now, by=by) for row in rows
    )


@contextmanager
def _told_apart(slots: Sequence[Slot]) -> Iterator[None]:
    """One statement for all rows; a writer who took no turn is noticed by the database."""
    try:
        with transaction.atomic():
            yield
    except IntegrityError as error:
        raise errors.SlotTaken(single.blocked_by(error), slots[0].starts_at) from error
