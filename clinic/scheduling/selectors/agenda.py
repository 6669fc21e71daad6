"""What stands in the calendar of some days, as the pure modules want it."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from uuid import UUID

from django.db.models import Q, QuerySet, Value

from clinic.scheduling.models import Appointment
from clinic.scheduling.ranges import ENDS_S, STARTS_S, span_of, span_of_seconds, stored, zone
from clinic.scheduling.slots import Agenda, ClosedDays, Hours
from clinic.scheduling.spans import Span, merged, whole_day
from clinic.scheduling.staff_time import Closure, Room, TimeOff, WorkingHours
from clinic.scheduling.states import HOLDING


def span_of_days(first_on: date, last_on: date) -> Span:
    """From the first midnight to the midnight after the last day."""
    return Span(whole_day(first_on, zone()).starts_at, whole_day(last_on, zone()).ends_at)


def appointments_in(span: Span) -> QuerySet[Appointment]:
    """Appointments that meet a span, whatever their state."""
    return Appointment.objects.filter(period__overlap=stored(span))


@dataclass(frozen=True)
class Asked:
    """Of whom and of which days an agenda is wanted. `but_not`: appointments that do not count."""

    first_on: date
    last_on: date
    therapist_ids: Collection[int] = ()
    client_id: UUID | None = None
    but_not: Collection[UUID] = ()


@dataclass
class Booked:
    """Spans sorted by whose they are."""

    of_therapist: dict[int, list[Span]] = field(default_factory=lambda: defaultdict(list))
    of_room: dict[int, list[Span]] = field(default_factory=lambda: defaultdict(list))
    of_client: list[Span] = field(default_factory=list)

    def add(self, row: tuple[int, int | None, bool, int, int]) -> None:
        therapist_id, room_id, is_clients, starts_s, ends_s = row
        span = span_of_seconds(starts_s, ends_s)
        self.of_therapist[therapist_id].append(span)
        if room_id is not None:
            self.of_room[room_id].append(span)
        if is_clients:
            self.of_client.append(span)


def agenda(asked: Asked) -> Agenda:
    """Hours, closures, absences, rooms and bookings of some days: five queries."""
    booked = Booked()
    for row in _booked_rows(asked):
        booked.add(row)
    return Agenda(
        zone=zone(),
        hours=hours_of(asked.therapist_ids),
        closed=closed_days(asked.first_on, asked.last_on),
        away=away_of(asked.therapist_ids, span_of_days(asked.first_on, asked.last_on)),
        of_therapist=booked.of_therapist,
        of_room=booked.of_room,
        of_client=booked.of_client,
        room_ids=tuple(Room.objects.filter(is_active=True).values_list("pk", flat=True)),
    )


def _booked_rows(asked: Asked) -> Iterable[tuple[int, int | None, bool, int, int]]:
    """Ascending by start; one row each, without making a model of it."""
    is_clients = Q(client=asked.client_id) if asked.client_id else Value(False)
    return (
        appointments_in(span_of_days(asked.first_on, asked.last_on))
        .filter(status__in=sorted(HOLDING))
        .exclude(pk__in=asked.but_not)
        .order_by("period")
        .values_list("therapist_id", "room_id", is_clients, STARTS_S, ENDS_S)
    )


def hours_of(therapist_ids: Collection[int]) -> dict[int, list[Hours]]:
    hours: dict[int, list[Hours]] = defaultdict(list)
    for one in WorkingHours.objects.filter(therapist__in=therapist_ids):
        hours[one.therapist_id].append(Hours(one.weekday, one.from_time, one.to_time, one.room_id))
    return hours


def closed_days(first_on: date, last_on: date) -> tuple[ClosedDays, ...]:
    closures = Closure.objects.filter(first_on__lte=last_on, last_on__gte=first_on)
    return tuple(ClosedDays(one.first_on, one.last_on, one.title) for one in closures)


def away_of(therapist_ids: Collection[int], span: Span) -> dict[int, Sequence[Span]]:
    away: dict[int, list[Span]] = defaultdict(list)
    spells = TimeOff.objects.filter(therapist__in=therapist_ids, period__overlap=stored(span))
    for one in spells:
        away[one.therapist_id].append(span_of(one.period))
    return {therapist_id: merged(spans) for therapist_id, spans in away.items()}
