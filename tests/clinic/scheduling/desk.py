"""A small practice with rooms, hours and bookings. Plain functions, complete and valid."""

import re
from datetime import date, datetime, time, timedelta
from typing import Any

from django.utils import timezone

from clinic.accounts.models import User
from clinic.clients.models import Client
from clinic.scheduling.models import Appointment
from clinic.scheduling.ranges import stored, zone
from clinic.scheduling.services import booking as services
from clinic.scheduling.services.booking import Booking, Slot
from clinic.scheduling.spans import moment, span
from clinic.scheduling.staff_time import AppointmentKind, Room, WorkingHours
from clinic.scheduling.words import Purpose
from tests.builders import make_client
from tests.cast import Cast


def make_room(**differences: Any) -> Room:
    return Room.objects.create(**{"name": f"Room {Room.objects.count() + 1}"} | differences)


def make_kind(purpose: Purpose = Purpose.TREATMENT) -> AppointmentKind:
    """The usual kind; added again where a test before has emptied the tables."""
    kind, _ = AppointmentKind.objects.get_or_create(
        purpose=purpose,
        defaults={
            "name": purpose.label,
            "minutes": 60,
            "tone": "moss",
            "mark": purpose.label[:2],
        },
    )
    return kind


def make_hours(therapist: User, *, weekdays: Any = range(5), **differences: Any) -> None:
    """Eight to noon and one to five, Monday to Friday."""
    parts = differences.pop("parts", [(time(8), time(12)), (time(13), time(17))])
    WorkingHours.objects.bulk_create(
        WorkingHours(
            therapist=therapist, weekday=day, from_time=begins, to_time=ends, **differences
        )
        for day in weekdays
        for begins, ends in parts
    )


def a_monday(*, weeks: int = 2) -> date:
    """A Monday so many weeks ahead, so that nothing depends on the day a test runs."""
    today = timezone.localdate()
    return today - timedelta(days=today.weekday()) + timedelta(weeks=weeks)


def at(day: date, clock: str) -> datetime:
    return moment(day, time.fromisoformat(clock), zone())


def slot_at(
    therapist: User, day: date, clock: str, *, minutes: int = 60, room: Room | None = None
) -> Slot:
    return Slot(therapist, room, at(day, clock), minutes)


def booked(
    therapist: User, day: date, clock: str = "09:00", *, by: User | None = None, **differences: Any
) -> Appointment:
    """An appointment booked by the service, in hours or not."""
    client = differences.pop("client", None) or make_client()
    kind = differences.pop("kind", None) or make_kind()
    note = differences.pop("desk_note", "")
    return services.book(
        booking=Booking(client, kind, note),
        slot=slot_at(therapist, day, clock, **differences),
        by=by or therapist,
        is_deliberate=True,
    )


def row(therapist: User, client: Client, day: date, clock: str, **differences: Any) -> Appointment:
    """An unsaved row, to be forced past the services."""
    values = {
        "client": client,
        "therapist": therapist,
        "kind": make_kind(),
        "period": stored(
            span(
                day, time.fromisoformat(clock), minutes=differences.pop("minutes", 60), zone=zone()
            )
        ),
        "status_at": timezone.now(),
        "booked_by": therapist,
    }
    return Appointment(**values | differences)


def answers(client: Client | None, cast: Cast, /, **differences: Any) -> dict[str, Any]:
    """What is typed into the booking form."""
    return {
        "client": str(client.pk) if client else "",
        "kind": str(make_kind().pk),
        "therapist": str(cast.therapist.pk),
        "room": "",
        "on": f"{a_monday():%d %b %Y}",
        "at": "9:00",
        "minutes": "",
        "desk_note": "brings daughter",
    } | differences


def text_of(page: Any) -> str:
    return re.sub(r"\s+", " ", page.content.decode())
