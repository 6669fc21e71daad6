"""Every page of this app: who may open it, by which method, and what its address gives away."""

import re
from collections.abc import Callable

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.audit.sentences import SENTENCES
from clinic.clients import sentences, urls
from clinic.clients.emergency_services import open_emergency
from clinic.clients.errors import RuleBroken
from clinic.clients.models import Client, PrecautionFound, Surgery
from tests.builders import make_client, make_episode, make_referrer, today
from tests.cast import Cast

CLINICAL = {
    "episode-new",
    "episode-edit",
    "episode-phase",
    "treatment-new",
    "treatment-remove",
    "precaution-new",
    "precaution-clear",
}
# Of emergency access: asked for by the desk alone, reviewed by the lead alone.
DESK_ONLY, LEAD_ONLY = {"client-emergency"}, {"emergencies", "emergency-review"}
POST_ONLY = {"client-reactivate", "referrer-deactivate", "referrer-reactivate"}
NAMES = [pattern.name for pattern in urls.urlpatterns]


@pytest.fixture
def address_of(cast: Cast) -> Callable[[str], str]:
    """The address of each page, about one client who has one of everything."""
    referrer = make_referrer()
    client = make_client(referrer=referrer, record_number="77001")
    episode = make_episode(client, cast.therapist)
    surgery = Surgery.objects.create(client=client, operation="mastectomy", side="right")
    found = PrecautionFound.objects.create(
        client=client, precaution="pregnancy", found_on=today(), found_by=cast.therapist
    )
    parts = {
        "client_id": client.pk,
        "referrer_id": referrer.pk,
        "episode_id": episode.pk,
        "kind": "surgery",
        "treatment_id": surgery.pk,
        "precaution_id": found.pk,
        "access_id": open_emergency(client=client, reason="Fainted.", by=cast.front_desk).pk,
    }

    def address(name: str) -> str:
        pattern = next(pattern for pattern in urls.urlpatterns if pattern.name == name)
        wanted = pattern.pattern.converters
        return reverse(name, kwargs={part: parts[part] for part in wanted})

    return address


@pytest.mark.parametrize("name", sorted(set(NAMES) - POST_ONLY - DESK_ONLY - LEAD_ONLY))
def test_the_page_opens_for_a_therapist(
    therapist: Browser, address_of: Callable[[str], str], name: str
) -> None:
    assert therapist.get(address_of(name)).status_code == 200


@pytest.mark.parametrize("name", NAMES)
def test_a_wrong_method_is_refused(
    therapist: Browser, address_of: Callable[[str], str], name: str
) -> None:
    assert therapist.put(address_of(name)).status_code == 405
    assert therapist.delete(address_of(name)).status_code == 405


@pytest.mark.parametrize("name", NAMES)
def test_nobody_gets_in_without_signing_in(
    client: Browser, address_of: Callable[[str], str], name: str
) -> None:
    answer = client.post(address_of(name))
    assert answer.status_code == 302
    assert answer.headers["Location"].startswith("/sign-in/")


@pytest.mark.parametrize("name", NAMES)
def test_the_front_desk_is_kept_out_of_clinical_pages_only(
    desk: Browser, address_of: Callable[[str], str], name: str
) -> None:
    for answer in (desk.get(address_of(name)), desk.post(address_of(name))):
        assert (answer.status_code == 403) is (name in CLINICAL | LEAD_ONLY)


@pytest.mark.parametrize("name", sorted(set(NAMES) - POST_ONLY - CLINICAL - LEAD_ONLY - DESK_ONLY))
def test_what_the_front_desk_opens_says_nothing_clinical(
    desk: Browser, address_of: Callable[[str], str], name: str
) -> None:
    page = desk.get(address_of(name)).content.decode()
    for word in ("I97.2", "mastectomy", "pregnancy", "intensive", "right arm"):
        assert word not in page


@pytest.mark.parametrize("name", NAMES)
def test_no_address_tells_who_the_client_is(address_of: Callable[[str], str], name: str) -> None:
    known = Client.objects.get()
    # Of keys only their shape matters: four figures of one can be those of a year.
    address = re.sub(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", "key", address_of(name).lower())
    for told in (known.given_name, known.family_name, known.record_number, "1961", "i97"):
        assert told.lower() not in address


@pytest.mark.parametrize("name", [name for name in NAMES if name.startswith("client")])
def test_a_client_who_is_not_there_is_no_page(desk: Browser, cast: Cast, name: str) -> None:
    if name in {"clients", "client-new"}:
        return
    nobody = "00000000-0000-4000-8000-000000000000"
    assert desk.post(reverse(name, args=[nobody])).status_code == 404


def test_every_broken_rule_of_this_app_has_a_sentence() -> None:
    def leaves(kind: type[RuleBroken]) -> set[type[RuleBroken]]:
        below = kind.__subclasses__()
        return {kind} if not below else set().union(*map(leaves, below))

    ours = {kind for kind in leaves(RuleBroken) if kind.__module__ == "clinic.clients.errors"}
    assert ours == set(sentences.SENTENCES)


def test_every_verb_of_this_app_has_a_sentence() -> None:
    for verb in ("referrer.added", "referrer.edited", "treatment.removed", "precaution.cleared"):
        assert SENTENCES[verb]
