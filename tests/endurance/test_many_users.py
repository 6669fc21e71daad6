"""Thirty-two people at once for a minute: no fault, and every acknowledged write there once.

The web server is the one a trial runs, in processes of its own. Half chart, half work the desk:
each looks at pages, saves a note again and again, adds referrers and books appointments.
"""

import time
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path
from threading import Thread
from urllib.error import HTTPError
from urllib.parse import urlencode
from urllib.request import HTTPRedirectHandler, Request, build_opener

import pytest
from django.conf import settings
from django.test import Client as Browser

from clinic.accounts.models import User
from clinic.clients.models import Referrer
from clinic.common.vocabulary import Role
from clinic.scheduling.models import Appointment
from clinic.scheduling.staff_time import AppointmentKind
from clinic.visits.models import VisitNote
from clinic.visits.words import Section
from tests.builders import make_client, make_episode, today
from tests.cast import make_staff
from tests.clinic.scheduling.desk import make_hours
from tests.clinic.visits.charting import draft
from tests.serving import (
    FORM_COOKIE,
    PATIENCE_S,
    SESSION_COOKIE,
    collect_files,
    free_port,
    server,
)

PEOPLE = 32
SECONDS = 60
TOKEN = "m" * 32


class NotFollowed(HTTPRedirectHandler):
    """A form that was kept answers with a redirect; the next page is no part of it."""

    def redirect_request(self, *args: object) -> None:
        return None


@dataclass
class Person:
    """One person at a browser: what they sent, and what was acknowledged."""

    user: User
    base: str
    cookie: str
    number: int = 0
    kept: list[int] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)

    def work_until(self, deadline: float) -> None:
        while time.monotonic() < deadline:
            self.number += 1
            self.once()

    def once(self) -> None:
        raise NotImplementedError

    def ask(self, path: str, fields: list[tuple[str, object]] | None = None) -> int:
        """The status of one request; a fault of the server is noted."""
        sent = None
        if fields is not None:
            sent = urlencode([*fields, ("csrfmiddlewaretoken", TOKEN)]).encode()
        headers = {"Cookie": f"{self.cookie}; {FORM_COOKIE}={TOKEN}"}
        request = Request(self.base + path, sent, headers)
        try:
            with build_opener(NotFollowed).open(request, timeout=PATIENCE_S) as answer:
                return int(answer.status)
        except HTTPError as answer:
            if answer.code >= 500:
                self.faults.append(f"{path}: {answer.code}")
            return answer.code


@dataclass
class Charting(Person):
    """A therapist: saves one note over and over, and looks at the client in between."""

    note: VisitNote | None = None
    revision: int = 0

    def once(self) -> None:
        assert self.note is not None
        fields: list[tuple[str, object]] = [("revision", self.revision), ("visit_min", "")]
        fields += [(section.value, f"save {self.number:06}") for section in Section]
        if self.ask(f"/visits/{self.note.pk}/save/", fields) in {200, 302}:
            self.kept.append(self.number)
            self.revision += 1
        self.ask(f"/clients/{self.note.episode.client_id}/")


@dataclass
class AtTheDesk(Person):
    """Front desk: adds a referrer, books a time nobody else wants, looks at the week."""

    client_id: str = ""
    therapist_id: int = 0
    kind_id: int = 0
    from_on: date = date.min
    booked: list[int] = field(default_factory=list)

    def once(self) -> None:
        named = [("given_name", "Wren"), ("family_name", f"{self.user.pk}-{self.number:05}")]
        address = [("street", "4 Quay Street"), ("town", "Saltmarsh"), ("delivery", "post")]
        fields = [*named, *address, ("letter_frequency", "monthly")]
        if self.ask("/referrers/new/", list(fields)) == 302:
            self.kept.append(self.number)
        self._book()
        self.ask("/calendar/")

    def _book(self) -> None:
        on = self.from_on + timedelta(days=self.number)
        wanted = [("client", self.client_id), ("kind", self.kind_id), ("on", f"{on:%Y-%m-%d}")]
        wanted += [("therapist", self.therapist_id), ("at", "10:00"), ("minutes", 30)]
        if self.ask("/appointments/new/", [*wanted, ("is_deliberate", "on")]) == 302:
            self.booked.append(self.number)


def people(base: str) -> tuple[list[Charting], list[AtTheDesk]]:
    kind = AppointmentKind.objects.first()
    charting, desk = [], []
    for number in range(PEOPLE // 2):
        therapist = make_staff(f"therapist{number}", f"Therapist {number}", Role.THERAPIST)
        clerk = make_staff(f"desk{number}", f"Desk {number}", Role.FRONT_DESK)
        make_hours(therapist)
        episode = make_episode(make_client(family_name=f"Client{number}"), therapist)
        note = draft(therapist, episode)
        charting.append(Charting(therapist, base, cookie_of(therapist), note=note))
        desk.append(
            AtTheDesk(
                clerk,
                base,
                cookie_of(clerk),
                client_id=str(episode.client_id),
                therapist_id=therapist.pk,
                kind_id=kind.pk,
                from_on=today() + timedelta(days=1),
            )
        )
    return charting, desk


def cookie_of(user: User) -> str:
    browser = Browser()
    browser.force_login(user)
    name = settings.SESSION_COOKIE_NAME
    return f"{SESSION_COOKIE}={browser.cookies[name].value}"


@pytest.mark.endurance
@pytest.mark.django_db(transaction=True)
def test_thirty_two_people_at_once_meet_no_fault_and_lose_no_write(tmp_path: Path) -> None:
    port = free_port()
    collect_files(tmp_path)
    charting, desk = people(f"http://127.0.0.1:{port}")
    everyone: list[Person] = [*charting, *desk]
    with server(port, tmp_path):
        deadline = time.monotonic() + SECONDS
        threads = [Thread(target=one.work_until, args=(deadline,)) for one in everyone]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert [fault for one in everyone for fault in one.faults] == []
    for one in charting:
        assert one.kept
        assert one.note is not None
        one.note.refresh_from_db()
        assert one.note.subjective == f"save {one.kept[-1]:06}"
        assert one.note.revision == len(one.kept)
    for clerk in desk:
        assert clerk.kept
        assert clerk.booked
        names = Referrer.objects.filter(family_name__startswith=f"{clerk.user.pk}-")
        wanted = [f"{clerk.user.pk}-{number:05}" for number in clerk.kept]
        assert sorted(names.values_list("family_name", flat=True)) == wanted
        held = Appointment.objects.filter(client_id=clerk.client_id).order_by("period")
        days = [(one.period.lower.date() - clerk.from_on).days for one in held]
        assert days == clerk.booked
    writes = sum(len(one.kept) for one in everyone) + sum(len(one.booked) for one in desk)
    print(f"{writes} writes, {sum(2 * one.number for one in everyone) + len(desk)} requests")
