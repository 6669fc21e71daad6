"""What stands in the calendar of some days, as the pure modules want it."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from uuid import UUID

from django.db import connection
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

    def add_joined(self, kind: str, number: int, span: Span) -> None:
        if kind == "client":
            self.of_client.append(span)
        else:
            (self.of_therapist if kind == "therapist" else self.of_room)[number].append(span)


def agenda(asked: Asked) -> Agenda:
    """Hours, closures, absences, rooms and bookings of some days: five queries."""
    booked = Booked()
    for row in _booked_rows(asked):
        booked.add(row)
    return _agenda(asked, booked)


def search_agenda(asked: Asked, *, minutes: int) -> Agenda:
    """The same for a search: gaps too short for so many minutes count as taken. Five queries.

    The database joins what is booked across such gaps, so that of a full quarter only one span a
    therapist a day is read.
    """
    booked = Booked()
    whole = span_of_days(asked.first_on, asked.last_on)
    with connection.cursor() as cursor:
        cursor.execute(
            JOINED,
            {
                "from": whole.starts_at,
                "to": whole.ends_at,
                "held": sorted(HOLDING),
                "pad_min": minutes - 1,
                "client": asked.client_id,
            },
        )
        for kind, number, starts_s, ends_s in cursor.fetchall():
            booked.add_joined(kind, number, span_of_seconds(starts_s, ends_s))
    return _agenda(asked, booked)


# Each span is lengthened until it touches any that follows too soon; range_agg joins what touches.
JOINED = """
WITH booked AS MATERIALIZED (
  SELECT therapist_id, room_id, client_id,
    tstzrange(lower(period), upper(period) + %(pad_min)s * interval '1 minute') AS span
  FROM scheduling_appointment
  WHERE period && tstzrange(%(from)s, %(to)s) AND status = ANY(%(held)s)
), joined AS (
  SELECT 'therapist' AS kind, therapist_id AS number, unnest(range_agg(span)) AS span
  FROM booked GROUP BY therapist_id
  UNION ALL
  SELECT 'room', room_id, unnest(range_agg(span))
  FROM booked WHERE room_id IS NOT NULL GROUP BY room_id
  UNION ALL
  SELECT 'client', 0, unnest(range_agg(span)) FROM booked WHERE client_id = %(client)s
)
SELECT kind, number, extract(epoch FROM lower(span))::bigint,
  extract(epoch FROM upper(span) - %(pad_min)s * interval '1 minute')::bigint
FROM joined ORDER BY kind, number, span
"""


def _agenda(asked: Asked, booked: Booked) -> Agenda:
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
