"""A server killed in the middle of saves: all it acknowledged is there, nothing is half written.

The web server is the one a trial runs, in processes of its own, and gets SIGKILL while autosaves
come in as fast as it answers. The database goes on, as it does when only the app dies.
"""

import time
from dataclasses import dataclass, field
from random import Random
from threading import Thread
from urllib.error import HTTPError, URLError
from urllib.parse import urlencode
from urllib.request import Request, urlopen

import pytest
from django.conf import settings
from django.db import transaction
from django.test import Client as Browser
from django.urls import reverse

from clinic.visits.models import SetAside, VisitNote
from clinic.visits.words import Section
from tests.cast import Cast, make_cast
from tests.clinic.visits.charting import draft, service
from tests.serving import FORM_COOKIE, PATIENCE_S, SESSION_COOKIE, free_port, server

KILLS = 10
TOKEN = "k" * 32
STALE_EVERY = 5  # one save in so many comes from a device that read an older revision


def text_of(section: Section, number: int) -> str:
    return f"{section.value} of save {number:06}"


@dataclass
class Device:
    """Somebody typing: what was sent, and what the server said it has."""

    address: str
    cookie: str
    services: tuple[int, int]
    revision: int = 0
    number: int = 0
    acknowledged: int = 0
    set_aside: list[int] = field(default_factory=list)
    surprises: list[str] = field(default_factory=list)

    def type_on(self) -> None:
        """Save after save, until the server is gone."""
        while True:
            self.number += 1
            is_stale = self.number % STALE_EVERY == 0 and self.revision > 1
            try:
                status = self._post(0 if is_stale else self.revision)
            except (URLError, OSError):
                return
            self._note(status, is_stale=is_stale)

    def _note(self, status: int, *, is_stale: bool) -> None:
        if is_stale and status == 409:
            self.set_aside.append(self.number)
        elif not is_stale and status == 200:
            self.acknowledged = self.number
            self.revision += 1
        else:
            self.surprises.append(f"save {self.number}: {status}")

    def _post(self, revision: int) -> int:
        minutes = self.number % 100 + 1
        fields = [("revision", revision), ("visit_min", 480), ("csrfmiddlewaretoken", TOKEN)]
        fields += [(section.value, text_of(section, self.number)) for section in Section]
        for service_id in self.services:
            fields += [("service", service_id), ("minutes", minutes), ("remark", "")]
        headers = {"Cookie": f"{self.cookie}; {FORM_COOKIE}={TOKEN}", "HX-Request": "true"}
        request = Request(self.address, urlencode(fields).encode(), headers)
        try:
            with urlopen(request, timeout=PATIENCE_S) as answer:
                return int(answer.status)
        except HTTPError as refused:
            return refused.code


def stored_number(note: VisitNote) -> int:
    """Which save the note stands at; every part of it must be of the same one."""
    with transaction.atomic():
        # Waits for a transaction that the killed server may have left open.
        stored = VisitNote.objects.select_for_update().get(pk=note.pk)
        minutes = list(stored.treatments.values_list("minutes", flat=True))
    if stored.revision == 0:
        return 0
    number = int(stored.subjective[-6:])
    assert {getattr(stored, each.value) for each in Section} == {
        text_of(each, number) for each in Section
    }
    assert minutes == [number % 100 + 1] * 2
    return number


def kept_aside(note: VisitNote) -> set[int]:
    texts = [text for row in SetAside.objects.filter(note=note) for text in row.typed["texts"]]
    return {int(text["sections"]["subjective"][-6:]) for text in texts}


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("kills", [KILLS, pytest.param(50, marks=pytest.mark.endurance)])
def test_a_server_killed_many_times_keeps_all_it_acknowledged_and_writes_nothing_by_half(
    kills: int,
) -> None:
    cast: Cast = make_cast()
    note = draft(cast.therapist)
    browser, dice, port = Browser(), Random(7), free_port()
    browser.force_login(cast.therapist)
    name = settings.SESSION_COOKIE_NAME
    device = Device(
        address=f"http://127.0.0.1:{port}{reverse('visit-save', args=[note.pk])}",
        cookie=f"{SESSION_COOKIE}={browser.cookies[name].value}",
        services=(service("97140").pk, service("97535").pk),
    )
    for left in reversed(range(kills)):
        before = device.acknowledged
        with server(port):
            typing = Thread(target=device.type_on)
            typing.start()
            deadline = time.monotonic() + PATIENCE_S
            # The last server lives until a stale save was answered, however slow the machine is.
            while time.monotonic() < deadline and (
                device.acknowledged == before or not (left or device.set_aside)
            ):
                time.sleep(0.01)
            time.sleep(dice.uniform(0.02, 0.4))
        typing.join()
        assert device.surprises == []
        assert device.acknowledged > before
        # The very last save may have been kept without its answer; nothing older may show.
        assert stored_number(note) in {device.acknowledged, device.number}
        assert kept_aside(note) >= set(device.set_aside)
        device.revision = VisitNote.objects.get(pk=note.pk).revision
    assert device.acknowledged > kills
    assert device.set_aside
