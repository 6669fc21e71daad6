"""Referrers: found, added, edited, taken out of use and back; letters must reach them."""

from typing import Any

import pytest
from django.test import Client as Browser

from clinic.audit.models import Entry
from clinic.clients import editing
from clinic.clients.forms.clients import ReferrerForm
from clinic.clients.models import Referrer
from tests.builders import make_referrer
from tests.clinic.clients.answers import referrer_answers

URL = "/referrers/"
WATCHED = ReferrerForm.Meta.fields


def test_a_referrer_is_found_by_any_part(desk: Browser) -> None:
    make_referrer(given_name="Odile", family_name="Färrow")
    make_referrer(given_name="Linus", family_name="Grebe", organisation="Quay Hospital")
    page = desk.post(URL, {"words": "farr harbour"}).content.decode()
    assert "Färrow" in page
    assert "Grebe" not in page
    assert desk.post(URL, {"words": "heron"}).content.decode().count("No referrer fits") == 1


def test_an_empty_list_says_what_to_do(desk: Browser) -> None:
    assert "Add the first one" in desk.get(URL).content.decode()


def test_the_list_of_referrers_pages(desk: Browser) -> None:
    for number in range(30):
        make_referrer(family_name=f"Grebe{number:02}")
    page = desk.post(URL, {"page": "2"}).content.decode()
    assert "Page 2 of 2" in page
    assert "Grebe29" in page
    assert "Grebe00" not in page


def test_a_referrer_is_added(desk: Browser) -> None:
    assert desk.get(f"{URL}new/").status_code == 200
    assert desk.post(f"{URL}new/", referrer_answers()).status_code == 302
    assert Referrer.objects.get().family_name == "Grebe"
    assert Entry.objects.get().verb == "referrer.added"


@pytest.mark.parametrize(
    ("differences", "sentence"),
    [
        ({"delivery": "fax"}, "type the fax number"),
        ({"delivery": "email"}, "type the address"),
        ({"delivery": "post", "street": ""}, "type street or post box"),
        ({"delivery": "post", "town": ""}, "type town and postcode"),
        ({"email": "linus"}, "valid email"),
        ({"delivery": "pigeon"}, "Select a valid choice"),
    ],
)
def test_letters_need_a_way_to_arrive(
    desk: Browser, differences: dict[str, str], sentence: str
) -> None:
    page = desk.post(f"{URL}new/", referrer_answers(**differences)).content.decode()
    assert sentence in page
    assert 'value="Grebe"' in page
    assert not Referrer.objects.exists()


@pytest.mark.parametrize(
    "differences",
    [
        {"delivery": "fax", "fax": "555 0199", "street": "", "town": ""},
        {"delivery": "email", "email": "linus@quay.example", "street": "", "town": ""},
        {"delivery": "hand", "street": "", "town": ""},
    ],
)
def test_only_the_chosen_way_needs_its_address(desk: Browser, differences: dict[str, str]) -> None:
    assert desk.post(f"{URL}new/", referrer_answers(**differences)).status_code == 302


def edit_answers(referrer: Referrer, **differences: Any) -> dict[str, Any]:
    said = editing.said_by(referrer, WATCHED)
    return said | {"before": editing.written(said)} | differences


def test_a_referrer_is_edited(desk: Browser) -> None:
    referrer = make_referrer()
    url = f"{URL}{referrer.pk}/edit/"
    assert 'value="Farrow"' in desk.get(url).content.decode()
    assert desk.post(url, edit_answers(referrer, phone="555 0123")).status_code == 302
    referrer.refresh_from_db()
    assert referrer.phone == "555 0123"
    assert Entry.objects.get().verb == "referrer.edited"


def test_two_people_editing_a_referrer_see_each_other(desk: Browser, lead: Browser) -> None:
    referrer = make_referrer()
    url = f"{URL}{referrer.pk}/edit/"
    second = edit_answers(referrer, phone="555 2222")
    desk.post(url, edit_answers(referrer, phone="555 1111"))
    page = lead.post(url, second).content.decode()
    assert "somebody else saved changes" in page
    assert "<td>555 1111</td><td>555 2222</td>" in page


def test_a_referrer_goes_out_of_use_and_back(desk: Browser) -> None:
    referrer = make_referrer()
    for verb, is_active in (("deactivate", False), ("reactivate", True)):
        url = f"{URL}{referrer.pk}/{verb}/"
        assert desk.get(url).status_code == 405
        assert desk.post(url).status_code == 302
        referrer.refresh_from_db()
        assert referrer.is_active is is_active
        listed = "Harbour Cancer Centre" in desk.post(URL, {}).content.decode()
        assert listed is is_active
        assert Entry.objects.first().verb == f"referrer.{verb}d"
