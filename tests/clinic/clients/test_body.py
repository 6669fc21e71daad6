"""Cancer treatments and precautions: kept, removed, cleared, told in a fixed number of queries."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clinic.audit.models import Entry
from clinic.clients import selectors, services
from clinic.clients.models import (
    Client,
    DrugTreatment,
    Irradiation,
    NodeSurgery,
    PrecautionFound,
    Surgery,
)
from clinic.common.vocabulary import Precaution
from tests.builders import make_client
from tests.cast import Cast

ANSWERS: dict[str, dict[str, str]] = {
    "surgery": {"operation": "mastectomy", "side": "right", "done_on": "1 Jun 2024", "note": ""},
    "nodes": {
        "procedure": "full",
        "basin": "axilla",
        "side": "right",
        "nodes_removed": "14",
        "nodes_positive": "3",
        "done_on": "6/1/2024",
        "note": "",
    },
    "radiation": {"field": "chest_wall", "side": "right", "done_on": "", "note": "25 sessions"},
    "drugs": {
        "drugs": "chemotherapy",
        "done_on": "2024-07-01",
        "ended_on": "2024-11-01",
        "note": "",
    },
}


@pytest.fixture
def known(cast: Cast) -> Client:
    return make_client()


def new_url(client: Client, kind: str) -> str:
    return f"/clients/{client.pk}/treatments/{kind}/new/"


@pytest.mark.parametrize("kind", ANSWERS)
def test_a_treatment_is_added(therapist: Browser, known: Client, kind: str) -> None:
    assert therapist.get(new_url(known, kind)).status_code == 200
    assert therapist.post(new_url(known, kind), ANSWERS[kind]).status_code == 302
    told = selectors.body_story(known).treatments
    assert [told_kind for told_kind, _ in told] == [kind]
    assert Entry.objects.get().verb == "treatment.added"


def test_an_unknown_kind_is_no_page(therapist: Browser, known: Client) -> None:
    assert therapist.get(new_url(known, "magic")).status_code == 404


@pytest.mark.parametrize(
    ("kind", "differences", "sentence"),
    [
        ("surgery", {"done_on": "in June"}, "This is not a day"),
        ("surgery", {"done_on": "1 Jun 1950"}, "The client was born on 4 Mar 1961"),
        ("surgery", {"done_on": f"{timezone.localdate() + timedelta(days=1)}"}, "still to come"),
        ("nodes", {"nodes_positive": "15"}, "At most the 14 that were removed"),
        ("nodes", {"nodes_removed": ""}, "Type how many were removed"),
        ("nodes", {"nodes_removed": "1400"}, "More than 100 nodes"),
        ("nodes", {"nodes_removed": "-1"}, "greater than or equal to 0"),
        ("nodes", {"nodes_removed": "a few"}, "whole number"),
        ("radiation", {"side": ""}, "required"),
        ("drugs", {"ended_on": "2024-06-30"}, "before the start"),
    ],
)
def test_a_faulty_treatment_is_told_and_kept(
    therapist: Browser, known: Client, kind: str, differences: dict[str, str], sentence: str
) -> None:
    page = therapist.post(new_url(known, kind), ANSWERS[kind] | differences).content.decode()
    assert sentence in page
    for typed in filter(None, differences.values()):
        assert f'value="{typed}"' in page
    assert not selectors.body_story(known).treatments


def test_a_treatment_is_removed_only_after_a_question(therapist: Browser, known: Client) -> None:
    surgery = Surgery.objects.create(client=known, operation="mastectomy", side="right")
    url = f"/clients/{known.pk}/treatments/surgery/{surgery.pk}/remove/"
    assert "Remove this treatment?" in therapist.get(url).content.decode()
    assert Surgery.objects.exists()
    assert therapist.post(url).status_code == 302
    assert not Surgery.objects.exists()
    entry = Entry.objects.get()
    assert (entry.verb, entry.subject) == ("treatment.removed", f"surgery:{surgery.pk}")


def test_a_treatment_is_reached_only_through_its_own_client(
    therapist: Browser, known: Client
) -> None:
    surgery = Surgery.objects.create(client=known, operation="mastectomy", side="right")
    other = make_client(given_name="Odette", family_name="Pell")
    url = f"/clients/{other.pk}/treatments/surgery/{surgery.pk}/remove/"
    assert therapist.post(url).status_code == 404
    assert Surgery.objects.exists()


def precaution_url(client: Client) -> str:
    return f"/clients/{client.pk}/precautions/new/"


def precaution_answers(**differences: str) -> dict[str, str]:
    typed = {"precaution": "acute_clot", "found_on": "2 Feb 2026", "note": "Left calf"}
    return typed | differences


def test_a_precaution_is_found_and_cleared(therapist: Browser, cast: Cast, known: Client) -> None:
    page = therapist.get(precaution_url(known)).content.decode()
    assert "does not replace an examination" in page
    assert therapist.post(precaution_url(known), precaution_answers()).status_code == 302
    found = selectors.open_precautions(known).get()
    assert found.found_by == cast.therapist
    url = f"/clients/{known.pk}/precautions/{found.pk}/clear/"
    assert therapist.get(url).status_code == 200
    answers = {"cleared_on": "9 Feb 2026", "reason": "Anticoagulated, cleared by the physician"}
    assert therapist.post(url, answers).status_code == 302
    assert not selectors.open_precautions(known).exists()
    found.refresh_from_db()
    assert (found.cleared_on, found.cleared_by) == (date(2026, 2, 9), cast.therapist)
    verbs = list(Entry.objects.values_list("verb", flat=True))
    assert verbs == ["precaution.cleared", "precaution.found"]
    again = therapist.post(url, answers).content.decode()
    assert "already cleared on 9 Feb 2026" in again


@pytest.mark.parametrize(
    ("differences", "sentence"),
    [
        ({"precaution": ""}, "required"),
        ({"precaution": "hiccups"}, "Select a valid choice"),
        ({"found_on": "last week"}, "This is not a day"),
        ({"found_on": f"{timezone.localdate() + timedelta(days=1)}"}, "still to come"),
    ],
)
def test_a_faulty_precaution_is_told_and_kept(
    therapist: Browser, known: Client, differences: dict[str, str], sentence: str
) -> None:
    answers = precaution_answers(**differences)
    page = therapist.post(precaution_url(known), answers).content.decode()
    assert sentence in page
    assert 'value="Left calf"' in page
    assert not PrecautionFound.objects.exists()


def test_a_standing_precaution_is_not_recorded_twice(therapist: Browser, known: Client) -> None:
    therapist.post(precaution_url(known), precaution_answers())
    page = therapist.post(precaution_url(known), precaution_answers()).content.decode()
    assert "already stands since 2 Feb 2026" in page
    assert PrecautionFound.objects.count() == 1


def test_a_precaution_cannot_end_before_it_was_found(
    therapist: Browser, cast: Cast, known: Client
) -> None:
    found = services.record_precaution(
        found=PrecautionFound(
            client=known, precaution=Precaution.PREGNANCY, found_on=date(2026, 2, 2)
        ),
        by=cast.therapist,
    )
    answers = {"cleared_on": "1 Feb 2026", "reason": "Mistake"}
    url = f"/clients/{known.pk}/precautions/{found.pk}/clear/"
    page = therapist.post(url, answers).content.decode()
    assert "was found on 2 Feb 2026" in page
    assert 'value="Mistake"' in page


def tell_much(client: Client, cast: Cast, times: int) -> None:
    for number in range(times):
        day: dict[str, Any] = {"client": client, "done_on": date(2020 + number, 1, 1)}
        Surgery.objects.create(operation="mastectomy", side="left", **day)
        NodeSurgery.objects.create(procedure="full", basin="axilla", side="left", **day)
        Irradiation.objects.create(field="breast", side="left", **day)
        DrugTreatment.objects.create(drugs="hormone", **day)


def test_the_body_story_costs_the_same_however_long(
    cast: Cast, known: Client, django_assert_num_queries: Any
) -> None:
    tell_much(known, cast, 1)
    with django_assert_num_queries(5):
        selectors.body_story(known)
    tell_much(known, cast, 4)
    with django_assert_num_queries(5):
        story = selectors.body_story(known)
    assert len(story.treatments) == 20


def test_the_body_story_goes_by_day_and_ends_with_the_undated(cast: Cast, known: Client) -> None:
    Surgery.objects.create(client=known, operation="lumpectomy", side="left")
    Irradiation.objects.create(client=known, field="breast", side="left", done_on="2023-01-01")
    DrugTreatment.objects.create(client=known, drugs="hormone", done_on="2022-01-01")
    told = [kind for kind, _ in selectors.body_story(known).treatments]
    assert told == ["drugs", "radiation", "surgery"]


def test_only_open_precautions_are_told(cast: Cast, known: Client) -> None:
    for precaution, cleared_on in (("pregnancy", None), ("seizures", date(2026, 3, 1))):
        PrecautionFound.objects.create(
            client=known,
            precaution=precaution,
            found_on=date(2026, 2, 2),
            found_by=cast.therapist,
            cleared_on=cleared_on,
            cleared_by=cast.therapist if cleared_on else None,
            cleared_reason="Over" if cleared_on else "",
        )
    assert selectors.body_story(known).open_precautions == {Precaution.PREGNANCY}
