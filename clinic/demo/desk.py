"""The front desk of the demo: rooms, hours, appointments, wait list. Days are working days."""

from collections import defaultdict
from collections.abc import Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Any

from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Client
from clinic.demo import scenario
from clinic.demo.clock import WORKING_WEEK, clock_at, moment_of, nth_working_day
from clinic.demo.scenario import demo_id
from clinic.demo.stage import Stage
from clinic.scheduling.models import Appointment, Authorisation, StatusChange
from clinic.scheduling.ranges import stored, zone
from clinic.scheduling.recurrence import Stretch, moments, rule_text
from clinic.scheduling.services.authorisations import record_authorisation
from clinic.scheduling.services.booking import Booking, Slot
from clinic.scheduling.services.series import ChosenDate, book_series
from clinic.scheduling.services.staff_time import save_closure, save_room, set_working_hours
from clinic.scheduling.services.waiting import FIELDS, join_wait_list
from clinic.scheduling.spans import Span, lasting
from clinic.scheduling.staff_time import AppointmentKind, Closure, Room, WorkingHours
from clinic.scheduling.states import CANCELLED, MOVABLE, Status

DESK_HOUR = time(10, 0)

# Working days between the booking of a visit, or today for one to come, and the booking itself.
BOOKED_BEFORE = 3

# What may be said of a visit whose day has not come.
MAY_LIE_AHEAD = MOVABLE | {Status.CANCELLED_EARLY}

# Through which states an appointment came where it stands, after it was booked.
WAYS: dict[Status, tuple[Status, ...]] = {
    Status.BOOKED: (),
    Status.IN_SESSION: (Status.ARRIVED, Status.IN_SESSION),
    Status.DONE: (Status.ARRIVED, Status.IN_SESSION, Status.DONE),
}
# Working days before the visit on which the client calls.
CALLS = {Status.CONFIRMED: 1, Status.CANCELLED_EARLY: 2}
BY_THERAPIST = {Status.IN_SESSION, Status.DONE}


@dataclass(frozen=True)
class Change:
    """An appointment came into a state at a moment."""

    status: Status
    at: datetime


@dataclass(frozen=True)
class Desk:
    """What the desk books with. `opens_today`: day 0 is today, even on a weekend."""

    stage: Stage
    rooms: dict[str, Room]  # by sign-in name of the therapist who works there
    kinds: dict[str, AppointmentKind]
    opens_today: bool = False

    def day(self, number: int) -> date:
        if self.opens_today and number == 0:
            return self.stage.today
        return nth_working_day(self.stage.today, number)

    def at(self, number: int, hour: time = DESK_HOUR) -> datetime:
        """A moment on a working day, never later than now."""
        return min(moment_of(self.day(number), hour), timezone.now())

    def on(self, number: int) -> AbstractContextManager[None]:
        return clock_at(self.at(number))

    def slot(self, therapist: str, starts_at: datetime, minutes: int) -> Slot:
        return Slot(self.stage.cast.staff[therapist], self.rooms[therapist], starts_at, minutes)


def furnish_desk(stage: Stage, opened: int) -> None:
    """Everything that the desk knows; rooms and hours since the day the clinic `opened`."""
    told = scenario.desk()
    with stage.on(opened):
        rooms = _rooms(told, stage.cast.lead)
        _set_hours(told, rooms, stage)
    kinds = {kind.name: kind for kind in AppointmentKind.objects.all()}
    own_rooms = {name: rooms[hours["room"]] for name, hours in told["hours"].items()}
    desk = Desk(stage, own_rooms, kinds)
    _close(told["closure"], desk)
    authorisation = _authorise(told["authorisation"], desk)
    _book_all(told["appointments"], authorisation, desk)
    to_chart = [[0, *visit] for visit in told["to_chart_today"]]
    _book_all(to_chart, authorisation, replace(desk, opens_today=True))
    _book_course(told["series"], desk)
    for waiting in told["wait_list"]:
        _join(waiting, desk)


def _rooms(told: dict[str, Any], by: User) -> dict[str, Room]:
    return {
        name: save_room(room=Room(name=name, place=place), by=by)
        for place, name in enumerate(told["rooms"])
    }


def _set_hours(told: dict[str, Any], rooms: dict[str, Room], stage: Stage) -> None:
    for name, hours in told["hours"].items():
        week = [
            WorkingHours(
                weekday=weekday,
                from_time=time.fromisoformat(first),
                to_time=time.fromisoformat(last),
                room=rooms[hours["room"]],
            )
            for weekday in WORKING_WEEK
            for first, last in hours["stretches"]
        ]
        set_working_hours(therapist=stage.cast.staff[name], hours=week, by=stage.cast.lead)


def _close(told: dict[str, Any], desk: Desk) -> None:
    on = desk.day(told["day"])
    with desk.on(told["saved"]):
        closure = Closure(title=told["title"], first_on=on, last_on=on)
        save_closure(closure=closure, by=desk.stage.cast.lead)


def _authorise(told: dict[str, Any], desk: Desk) -> Authorisation:
    said = {name: told[name] for name in ("payer", "number", "visits", "note")}
    said |= {"from_on": desk.day(told["from"]), "to_on": desk.day(told["to"])}
    with desk.on(told["from"]):
        return record_authorisation(
            client=_client(told["story"]), said=said, by=desk.stage.cast.front_desk
        )


def _client(story: str) -> Client:
    return Client.objects.get(pk=demo_id("client", story))


# Appointments: as `booking` keeps them, but many rows in one statement


def _book_all(told: list[list[Any]], authorisation: Authorisation, desk: Desk) -> None:
    """One statement for each day on which the desk booked, one for all changes of state."""
    booked: dict[int, list[Appointment]] = defaultdict(list)
    changes: list[StatusChange] = []
    for visit in told:
        number = min(visit[0], 0) - BOOKED_BEFORE
        came = [Change(Status.BOOKED, desk.at(number)), *_changes(visit, desk)]
        row = _appointment(visit, came, desk)
        if row.client_id == authorisation.client_id:
            row.authorisation = authorisation
        booked[number].append(row)
        changes += _kept(row, came, desk.stage.cast.front_desk)
    for number, rows in booked.items():
        with desk.on(number):
            Appointment.objects.bulk_create(rows)
    StatusChange.objects.bulk_create(changes)
    _record(changes)


def _appointment(visit: list[Any], came: list[Change], desk: Desk) -> Appointment:
    therapist, story, kind, _state, *reason = visit[2:]
    return Appointment(
        client_id=demo_id("client", story),
        therapist=desk.stage.cast.staff[therapist],
        room=desk.rooms[therapist],
        kind=desk.kinds[kind],
        period=stored(_span(visit, desk)),
        status=came[-1].status,
        status_at=came[-1].at,
        cancel_reason=reason[0] if reason and came[-1].status in CANCELLED else "",
        version=len(came),
        booked_by=desk.stage.cast.front_desk,
    )


def _span(visit: list[Any], desk: Desk) -> Span:
    starts_at = moment_of(desk.day(visit[0]), time.fromisoformat(visit[1]))
    return lasting(starts_at, desk.kinds[visit[4]].minutes)


def _changes(visit: list[Any], desk: Desk) -> Iterator[Change]:
    """What happened after the booking. On a weekend the visits of Monday have yet to happen."""
    number, status, span = visit[0], Status(visit[5]), _span(visit, desk)
    if desk.day(number) > desk.stage.today and status not in MAY_LIE_AHEAD:
        return
    on_the_day = {
        Status.CANCELLED_LATE: span.starts_at - timedelta(hours=1),
        Status.NO_SHOW: span.starts_at + timedelta(minutes=20),
        Status.ARRIVED: span.starts_at - timedelta(minutes=5),
        Status.IN_SESSION: span.starts_at,
        Status.DONE: span.ends_at,
    }
    for step in WAYS.get(status, (status,)):
        at = on_the_day[step] if step in on_the_day else desk.at(min(number - CALLS[step], 0))
        yield Change(step, min(at, timezone.now()))


def _kept(row: Appointment, came: list[Change], front_desk: User) -> Iterator[StatusChange]:
    for change in came:
        yield StatusChange(
            appointment=row,
            status=change.status,
            at=change.at,
            by=row.therapist if change.status in BY_THERAPIST else front_desk,
            reason=row.cancel_reason if change.status in CANCELLED else "",
        )


def _record(changes: list[StatusChange]) -> None:
    """The audit entries that `book`, `change_status` and `cancel` would have made."""
    clients = Client.objects.in_bulk({change.appointment.client_id for change in changes})
    for change in sorted(changes, key=lambda one: one.at):
        row = change.appointment
        with clock_at(change.at):
            verb = f"appointment.{Status(change.status)}"
            audit.record(change.by, verb, client=clients[row.client_id], subject=row)


def _book_course(told: dict[str, Any], desk: Desk) -> None:
    """Every weekday for some weeks, booked today."""
    stretch = Stretch(frozenset(WORKING_WEEK), told["weeks"])
    at = time.fromisoformat(told["time"])
    rule = rule_text([stretch], first_on=desk.day(told["first"]), at=at)
    kind = desk.kinds[told["kind"]]
    with desk.on(0):
        book_series(
            booking=Booking(_client(told["story"]), kind),
            rule=rule,
            dates=[
                ChosenDate(desk.slot(told["therapist"], starts_at, kind.minutes))
                for starts_at in moments(rule, zone())
            ],
            by=desk.stage.cast.front_desk,
        )


def _join(told: dict[str, Any], desk: Desk) -> None:
    kind, therapist = desk.kinds[told["kind"]], told.get("therapist")
    said = dict.fromkeys(FIELDS) | {name: told[name] for name in ("weekdays", "urgency", "note")}
    said |= {"kind": kind, "minutes": kind.minutes}
    said["therapist"] = desk.stage.cast.staff[therapist] if therapist else None
    said["from_time"] = time.fromisoformat(told["from_time"]) if "from_time" in told else None
    with desk.on(told["joined"]):
        join_wait_list(client=_client(told["story"]), said=said, by=desk.stage.cast.front_desk)
