"""The clinic lead keeps accounts and the practice's details."""

from datetime import timedelta

import pytest
from django.db import IntegrityError
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from clinic.accounts.models import AccountEvent, Practice, User
from clinic.audit.models import Entry
from tests.cast import Cast

pytestmark = pytest.mark.django_db

NEW = {"sign_in_name": "nell", "display_name": "Nell Ash", "credentials": "PT", "role": "therapist"}


def test_a_new_account_shows_its_one_time_password_once(lead: Browser) -> None:
    response = lead.post(reverse("staff-new"), NEW | {"is_active": "on"})
    assert "One-time password for Nell Ash" in response.text
    assert User.objects.get(sign_in_name="nell").must_choose_password
    assert AccountEvent.objects.get(about__sign_in_name="nell").by.sign_in_name == "leona"
    assert "Nell Ash, PT" in lead.get(reverse("staff")).text


def test_the_page_that_hands_a_one_time_password_out_says_how_long_it_is_good(
    lead: Browser, cast: Cast
) -> None:
    page = lead.post(reverse("staff-password", args=[cast.therapist.pk])).text
    cast.therapist.refresh_from_db()
    until = cast.therapist.one_time_until
    assert abs(until - timezone.now() - timedelta(hours=72)) < timedelta(minutes=1)
    told = date_format(timezone.localtime(until), "j M Y, H:i")
    assert f"Good until <b>{told}</b>" in page
    person = reverse("staff-edit", args=[cast.therapist.pk])
    assert f"The last one, good until {told}, has not been replaced" in lead.get(person).text


def test_a_name_in_use_is_refused_beside_the_field_and_nothing_typed_is_lost(
    lead: Browser,
) -> None:
    response = lead.post(reverse("staff-new"), NEW | {"sign_in_name": "THEO"})
    assert "Another account has this sign-in name" in response.text
    assert 'value="Nell Ash"' in response.text


@pytest.mark.parametrize("name", ["theo", "THEO"])
def test_a_name_in_use_is_told_once_and_beside_the_field(lead: Browser, name: str) -> None:
    form = lead.post(reverse("staff-new"), NEW | {"sign_in_name": name}).context["form"]
    assert form.errors == {"sign_in_name": ["Another account has this sign-in name."]}


def test_the_database_refuses_the_same_name_in_other_capitals(cast: Cast) -> None:
    with pytest.raises(IntegrityError):
        User.objects.create(sign_in_name="Theo", display_name="X", role="therapist")


def test_an_account_is_edited_and_switched_off(lead: Browser, cast: Cast) -> None:
    address = reverse("staff-edit", args=[cast.therapist.pk])
    lead.post(address, NEW | {"sign_in_name": "theo", "display_name": "Theo M."})
    cast.therapist.refresh_from_db()
    assert (cast.therapist.display_name, cast.therapist.is_active) == ("Theo M.", False)


@pytest.mark.parametrize("change", [{"role": "therapist", "is_active": "on"}, {}])
def test_a_lead_neither_steps_down_nor_switches_off_without_another_lead(
    lead: Browser, cast: Cast, change: dict[str, str]
) -> None:
    address = reverse("staff-edit", args=[cast.lead.pk])
    own = {"sign_in_name": "leona", "display_name": "Leona Vale", "role": "clinic_lead"}
    assert "Another clinic lead has to do that" in lead.post(address, own | change).text
    cast.lead.refresh_from_db()
    assert (cast.lead.role, cast.lead.is_active) == ("clinic_lead", True)
    assert not Entry.objects.filter(verb="account.edited").exists()
    cast.therapist.role = "clinic_lead"
    cast.therapist.save()
    other = Browser()
    other.force_login(cast.therapist)
    assert other.post(address, own | change).url == reverse("staff")


def test_the_lead_renews_a_forgotten_password(lead: Browser, cast: Cast) -> None:
    before = cast.therapist.password
    address = reverse("staff-password", args=[cast.therapist.pk])
    assert lead.get(address).status_code == 405
    assert "is shown this once" in lead.post(address).text
    cast.therapist.refresh_from_db()
    assert cast.therapist.password != before


def test_the_practice_keeps_its_letterhead_in_one_row(lead: Browser) -> None:
    details = {
        "name": "Saltmere Lymphedema Practice",
        "town": "Saltmere",
        "length_shown": "inch",
        "weight_shown": "lb",
        "paper_size": "A4",
    }
    assert lead.post(reverse("practice"), details).status_code == 302
    assert Practice.objects.get().length_shown == "inch"
    with pytest.raises(IntegrityError):
        Practice.objects.create(id=2)


def test_bad_details_stay_in_the_form(lead: Browser) -> None:
    response = lead.post(reverse("practice"), {"name": "Kept", "email": "no address"})
    assert response.status_code == 200
    assert 'value="no address"' in response.text
    assert 'value="Kept"' in response.text
