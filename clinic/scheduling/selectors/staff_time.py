"""Rooms, kinds, hours, absences and closures, for choices and for the clinic lead's page."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from django.db.models import Q, QuerySet
from django.utils import timezone

from clinic.accounts.models import User
from clinic.clients.selectors import therapists
from clinic.scheduling.ranges import span_of, wall
from clinic.scheduling.staff_time import AppointmentKind, Closure, Room, TimeOff, WorkingHours
from clinic.scheduling.words import Weekday


@dataclass(frozen=True)
class Week:
    """A therapist's working hours, one line a weekday."""

    therapist: User
    days: Sequence[tuple[Weekday, Sequence[WorkingHours]]]


@dataclass(frozen=True)
class Absence:
    id: int
    therapist: str
    starts_at: datetime
    ends_at: datetime
    reason: str

    @property
    def is_whole_days(self) -> bool:
        return self.starts_at.time() == self.ends_at.time() == time.min

    @property
    def last_on(self) -> date:
        """The last day of an absence of whole days."""
        return self.ends_at.date() - timedelta(days=1)


@dataclass(frozen=True)
class StaffTime:
    weeks: Sequence[Week]
    absences: Sequence[Absence]
    closures: Sequence[Closure]
    rooms: Sequence[Room]
    kinds: Sequence[AppointmentKind]


def staff_time(today: date) -> StaffTime:
    """All that the clinic lead sets up; what is over is left out. Six queries."""
    return StaffTime(
        weeks=_weeks(),
        absences=_absences(),
        closures=tuple(Closure.objects.filter(last_on__gte=today)),
        rooms=tuple(Room.objects.all()),
        kinds=tuple(AppointmentKind.objects.all()),
    )


def working_hours(therapist: User) -> QuerySet[WorkingHours]:
    return WorkingHours.objects.filter(therapist=therapist)


def kinds_to_choose(*, chosen_id: int | None = None) -> QuerySet[AppointmentKind]:
    return AppointmentKind.objects.filter(Q(is_active=True) | Q(pk=chosen_id))


def rooms_to_choose(*, chosen_id: int | None = None) -> QuerySet[Room]:
    return Room.objects.filter(Q(is_active=True) | Q(pk=chosen_id))


def every_kind() -> QuerySet[AppointmentKind]:
    return AppointmentKind.objects.all()


def every_room() -> QuerySet[Room]:
    return Room.objects.all()


def every_closure() -> QuerySet[Closure]:
    return Closure.objects.all()


def all_time_off() -> QuerySet[TimeOff]:
    return TimeOff.objects.select_related("therapist")


def _weeks() -> list[Week]:
    rows = list(WorkingHours.objects.select_related("room"))
    return [
        Week(
            person,
            [
                (
                    day,
                    [
                        row
                        for row in rows
                        if (row.therapist_id, row.weekday) == (person.pk, day.number)
                    ],
                )
                for day in Weekday
            ],
        )
        for person in therapists()
    ]


def _absences() -> list[Absence]:
    rows = all_time_off().filter(period__endswith__gt=timezone.now())
    return [
        Absence(
            id=row.pk,
            therapist=row.therapist.display_name,
            starts_at=wall(span_of(row.period).starts_at),
            ends_at=wall(span_of(row.period).ends_at),
            reason=row.reason,
        )
        for row in rows
    ]
