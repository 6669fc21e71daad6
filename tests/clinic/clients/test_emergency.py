"""Emergency access: an hour, a reason, the precautions and no more, and the lead's review."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, ProgrammingError, transaction
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit.selectors import history_of
from clinic.clients import emergency_services
from clinic.clients.emergency import EmergencyAccess
from clinic.clients.models import Client, PrecautionFound
from clinic.clients.views import emergency as emergency_views
from clinic.common.vocabulary import Precaution, Role
from tests.builders import make_client, make_episode, today
from tests.cast import Cast, make_staff

pytestmark = pytest.mark.django_db
REASON = "Fainted in the waiting room"
SECRET_NOTE = "left calf, since Tuesday"


@pytest.fixture
def client_ill(cast: Cast) -> Client:
    client = make_client()
    make_episode(client, cast.therapist)
    PrecautionFound.objects.create(
        client=client,
        precaution=next(iter(Precaution)),
        found_on=today(),
        found_by=cast.therapist,
        note=SECRET_NOTE,
    )
    return client


def address(client: Client) -> str:
    return reverse("client-emergency", args=[client.pk])


def test_the_desk_reads_nothing_before_it_gave_a_reason(desk: Browser, client_ill: Client) -> None:
    assert address(client_ill) in desk.get(reverse("client", args=[client_ill.pk])).text
    page = desk.get(address(client_ill)).text
    assert "Call for help first" in page
    assert SECRET_NOTE not in page


@pytest.mark.parametrize("reason", ["", "  ", "ill"])
def test_no_reason_opens_nothing_and_what_was_typed_stays(
    desk: Browser, client_ill: Client, reason: str
) -> None:
    page = desk.post(address(client_ill), {"reason": reason}).text
    assert SECRET_NOTE not in page
    assert "invalid-feedback" in page
    assert reason.strip() in page
    assert not EmergencyAccess.objects.exists()


def test_with_a_reason_the_desk_reads_them_for_an_hour_and_each_look_is_recorded(
    desk: Browser, cast: Cast, client_ill: Client
) -> None:
    desk.post(address(client_ill), {"reason": REASON})
    page = desk.get(address(client_ill)).text
    assert SECRET_NOTE in page
    assert "Emergency access until" in page
    verbs = list(history_of(client_ill).values_list("verb", flat=True))
    assert {"emergency.opened", "emergency.seen"} <= set(verbs)
    past = timezone.now() - timedelta(minutes=61)
    other = make_client(family_name="Other")
    EmergencyAccess.objects.create(
        client=other,
        by=cast.front_desk,
        reason=REASON,
        opened_at=past,
        ends_at=past + timedelta(minutes=60),
    )
    assert "Call for help first" in desk.get(address(other)).text


def test_it_opens_one_client_for_one_person_and_no_other_page(
    desk: Browser, cast: Cast, client_ill: Client
) -> None:
    desk.post(address(client_ill), {"reason": REASON})
    other = make_client(family_name="Other")
    assert "Call for help first" in desk.get(address(other)).text
    colleague = Browser()
    colleague.force_login(make_desk_colleague())
    assert "Call for help first" in colleague.get(address(client_ill)).text
    assert SECRET_NOTE not in desk.get(reverse("client", args=[client_ill.pk])).text
    assert desk.get(reverse("precaution-new", args=[client_ill.pk])).status_code == 403


def make_desk_colleague() -> User:
    return make_staff("dana", "Dana Reed", Role.FRONT_DESK)


def test_the_lead_is_told_on_today_and_reviews_it_once(
    desk: Browser, lead: Browser, cast: Cast, client_ill: Client
) -> None:
    assert "Emergency access was used" not in lead.get(reverse("today")).text
    desk.post(address(client_ill), {"reason": REASON})
    assert "Emergency access was used" in lead.get(reverse("today")).text
    access = EmergencyAccess.objects.get()
    review = reverse("emergency-review", args=[access.pk])
    assert REASON in lead.get(reverse("emergencies")).text
    assert lead.post(review, {"review": ""}).status_code == 200
    lead.post(review, {"review": "Ambulance called; rightly opened."})
    assert "Emergency access was used" not in lead.get(reverse("today")).text
    assert "rightly opened" in lead.get(reverse("emergencies")).text
    assert lead.get(review).status_code == 404


def test_who_became_lead_since_does_not_review_an_own_access(
    desk: Browser, lead: Browser, cast: Cast, client_ill: Client
) -> None:
    desk.post(address(client_ill), {"reason": REASON})
    User.objects.filter(pk=cast.front_desk.pk).update(role=Role.CLINIC_LEAD)
    review = reverse("emergency-review", args=[EmergencyAccess.objects.get().pk])
    assert desk.post(review, {"review": "All was well."}).status_code == 404
    assert "another lead reviews it" in desk.get(reverse("emergencies")).text
    assert "Emergency access was used" not in desk.get(reverse("today")).text
    page = lead.get(review).text
    assert reverse("client-history", args=[client_ill.pk]) in page
    assert lead.post(review, {"review": "All was well."}).status_code == 302
    assert lead.post(reverse("emergencies")).status_code == 405


def test_what_nobody_looked_into_comes_first_and_every_page_can_be_reached(
    lead: Browser, cast: Cast, client_ill: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(emergency_services, "PAGE_LENGTH", 2)
    opened = [
        emergency_services.open_emergency(
            client=client_ill, reason=f"{REASON} {n}", by=cast.front_desk
        )
        for n in range(3)
    ]
    for access in opened[1:]:
        emergency_services.review_emergency(access=access, review="Was right.", by=cast.lead)
    first, second = (lead.get(reverse("emergencies"), {"page": n}).text for n in (1, 2))
    assert first.index(f"{REASON} 0") < first.index(f"{REASON} 2")
    assert f"{REASON} 1" in second
    assert f"{REASON} 1" not in first
    assert 'rel="prev">Previous page<' in second  # what waits is before what is newer


def test_of_two_leads_the_second_is_told_what_the_first_found(
    lead: Browser, cast: Cast, client_ill: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    access = emergency_services.open_emergency(client=client_ill, reason=REASON, by=cast.front_desk)
    other = make_staff("livia", "Livia Sand", Role.CLINIC_LEAD)
    find = emergency_views.get_object_or_404

    def found(*asked: Any, **keys: Any) -> Any:
        """The other lead is done between this one's look and this one's note."""
        seen = find(*asked, **keys)
        emergency_services.review_emergency(access=access, review="Ambulance came.", by=other)
        return seen

    monkeypatch.setattr(emergency_views, "get_object_or_404", found)
    page = lead.post(reverse("emergency-review", args=[access.pk]), {"review": "All was well."})
    assert "Livia Sand has reviewed it meanwhile: “Ambulance came.”" in page.text
    assert "All was well." in page.text
    access.refresh_from_db()
    assert access.reviewed_by == other


def test_a_region_of_two_episodes_is_read_once(
    desk: Browser, cast: Cast, client_ill: Client
) -> None:
    make_episode(client_ill, cast.other_therapist)
    desk.post(address(client_ill), {"reason": REASON})
    page = desk.get(address(client_ill)).text
    assert page.count("<li>right arm") == 1
    assert "Theo Marsh" in page
    assert "Tilda Brook" in page


def test_an_access_stays_as_it_was_opened(desk: Browser, cast: Cast, client_ill: Client) -> None:
    desk.post(address(client_ill), {"reason": REASON})
    rows = EmergencyAccess.objects.all()
    with pytest.raises(ProgrammingError), transaction.atomic():
        rows.update(reason="another")
    with pytest.raises(ProgrammingError), transaction.atomic():
        rows.delete()
    with pytest.raises(IntegrityError), transaction.atomic():
        rows.update(reviewed_at=timezone.now(), reviewed_by=cast.front_desk, review="by myself")
    now = timezone.now()
    with pytest.raises(IntegrityError), transaction.atomic():
        EmergencyAccess.objects.create(
            client=client_ill,
            by=cast.front_desk,
            reason=REASON,
            opened_at=now,
            ends_at=now + timedelta(hours=2),
        )


@pytest.mark.parametrize("who", ["therapist", "lead"])
def test_who_reads_the_record_anyway_is_given_no_such_page(
    request: pytest.FixtureRequest, client_ill: Client, who: str
) -> None:
    browser: Browser = request.getfixturevalue(who)
    assert browser.get(address(client_ill)).status_code == 403
    assert browser.post(address(client_ill), {"reason": REASON}).status_code == 403
