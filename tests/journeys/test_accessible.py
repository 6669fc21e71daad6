"""axe-core finds nothing on any page of the clinic lead and the front desk, by day or night."""

from collections.abc import Callable
from typing import Any

import pytest
from django.urls import reverse
from django.utils.timezone import now
from playwright.sync_api import Page

from clinic.accounts.models import User
from clinic.clients.models import (
    AffectedRegion,
    Episode,
    NodeSurgery,
    PrecautionFound,
    Referrer,
)
from clinic.demo.loading import load
from clinic.letters.models import ProgressLetter
from clinic.scheduling.models import Appointment, Authorisation, WaitListEntry
from clinic.scheduling.staff_time import AppointmentKind, Closure, Room, TimeOff
from clinic.scheduling.states import Status
from measurements.models import GirthSession, Protocol
from programmes.models import ClinicExercise
from programmes.services.drafts import begin_programme
from programmes.services.issue import issue_programme
from tests.architecture.test_permits import PATTERNS
from tests.builders import today
from tests.cast import Cast
from tests.clinic.visits import charting

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

# Answers that are no page of their own: files, live fragments, buttons that only take a POST.
NO_PAGE = {
    "appointment-clients",
    "appointment-file",
    "calendar-feed",
    "findings-suggest",
    "girths-baseline",
    "girths-draft",
    "girths-live",
    "letter-pdf",
    "letter-preview",
    "programme-handout",
    "reminders-file",
    "scores-panel",
    "sign-in-again",
    "still-here",
    "visit-readings",
}


def furnish(cast: Cast) -> dict[str, Any]:
    """The demo's clinic with a day at the desk and two home programmes; one of each id."""
    load(today(), say=lambda *words: None)
    episode = Episode.objects.filter(client__node_surgeries__isnull=False).first()
    client = episode.client
    given = begin_programme(episode=episode, by=cast.lead)
    issue_programme(programme=given, revision=given.revision, by=cast.lead)
    draft = begin_programme(episode=episode, by=cast.lead)
    coming = Appointment.objects.filter(status=Status.BOOKED, period__startswith__gt=now())
    appointment = coming.order_by("period").last()
    off = TimeOff.objects.create(therapist=cast.lead, period=appointment.period, by=cast.lead)
    return {
        "client_id": client.pk,
        "episode_id": episode.pk,
        "referrer_id": Referrer.objects.first().pk,
        "treatment_id": NodeSurgery.objects.filter(client=client).first().pk,
        "kind": "nodes",
        "precaution_id": PrecautionFound.objects.filter(cleared_on=None).first().pk,
        "protocol_id": Protocol.objects.filter(retired_at=None).first().pk,
        "session_id": GirthSession.objects.filter(struck_at=None).first().pk,
        "region_id": AffectedRegion.objects.filter(findings__isnull=False).first().pk,
        "letter_id": ProgressLetter.objects.filter(approved_at=None).first().pk,
        "user_id": cast.lead.pk,
        "programme_id": draft.pk,
        "exercise_id": ClinicExercise.objects.first().pk,
        "appointment_id": appointment.pk,
        "room_id": Room.objects.first().pk,
        "kind_id": AppointmentKind.objects.first().pk,
        "off_id": off.pk,
        "closure_id": Closure.objects.first().pk,
        "entry_id": WaitListEntry.objects.first().pk,
        "authorisation_id": Authorisation.objects.first().pk,
        "reason": "remeasurement",
        "note_id": charting.draft(cast.lead, episode).pk,
    }


def addresses(ids: dict[str, Any], *, with_files: bool = False) -> dict[str, str]:
    """The address of every page, by its name; also of what is no page of its own, if wanted."""
    precaution = PrecautionFound.objects.get(pk=ids["precaution_id"])
    found = {}
    for pattern in PATTERNS:
        is_left_out = pattern.name in NO_PAGE and not with_files
        if is_left_out or not set(pattern.pattern.converters) <= set(ids):
            continue
        own = (
            ids | {"client_id": precaution.client_id} if pattern.name == "precaution-clear" else ids
        )
        kwargs = {name: own[name] for name in pattern.pattern.converters}
        found[pattern.name] = reverse(pattern.name, kwargs=kwargs)
    return found


@pytest.mark.parametrize("who", ["lead", "front_desk"])
def test_no_page_has_a_barrier(
    who: str,
    page: Page,
    cast: Cast,
    sign_in: Callable[[User], None],
    barriers: Callable[[], list[tuple[str, list[str]]]],
) -> None:
    pages = addresses(furnish(cast))
    sign_in(getattr(cast, who))
    seen, found = set(), []
    for name, address in pages.items():
        response = page.request.get(address, max_redirects=0)
        is_page = response.ok and response.headers["content-type"].startswith("text/html")
        if not is_page or name in {"sign-in", "sign-out"}:
            continue
        page.goto(address)
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme, reduced_motion="reduce")
            found += [(name, scheme, *barrier) for barrier in barriers()]
        seen.add(name)
    assert not found, "\n".join(str(one) for one in found)
    assert len(seen) > (60 if who == "lead" else 25), sorted(seen)
