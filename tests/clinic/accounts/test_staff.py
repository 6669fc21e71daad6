"""The clinic lead keeps accounts and the practice's details."""

from datetime import timedelta

import pytest
from django.db import IntegrityError
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from clinic.accounts import services
from clinic.accounts.access import AccountVerb
from clinic.accounts.models import AccountEvent, Practice, User
from clinic.audit.models import Entry
from clinic.audit.sentences import LOOKS, SENTENCES
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


def test_an_account_saved_as_it_was_is_no_edit(lead: Browser, cast: Cast) -> None:
    address = reverse("staff-edit", args=[cast.therapist.pk])
    same = {"sign_in_name": "theo", "display_name": "Theo Marsh", "role": "therapist"}
    same |= {"credentials": cast.therapist.credentials, "is_active": "on"}
    saved = lead.post(address, same, follow=True)
    assert "Saved Theo Marsh." in saved.text
    assert not Entry.objects.filter(verb="account.edited").exists()
    lead.post(address, same | {"credentials": "PT, PhD"})
    assert Entry.objects.filter(verb="account.edited").count() == 1


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


def told_of(person: User) -> list[tuple[str, str, str]]:
    """What the record says was done to an account: verb, by whom, from where."""
    found = Entry.objects.filter(subject=f"user:{person.pk}").order_by("pk")
    return [(entry.verb, entry.by.sign_in_name, entry.came_from) for entry in found]


def test_the_record_says_who_did_what_to_whose_account(lead: Browser, cast: Cast) -> None:
    lead.post(reverse("staff-new"), NEW | {"is_active": "on"})
    nell = User.objects.get(sign_in_name="nell")
    for address in (
        *("staff-password", "staff-unlock"),
        *("staff-sign-ins-end", "staff-second-factor-reset"),
    ):
        lead.post(reverse(address, args=[nell.pk]))
    verbs = ("added", "password_renewed", "unlocked", "sign_ins_ended", "second_factor_reset")
    assert told_of(nell) == [(f"account.{verb}", "leona", "127.0.0.1") for verb in verbs]


def test_the_record_says_what_a_person_did_to_their_own_ways_in(cast: Cast) -> None:
    services.choose_password(user=cast.therapist, password="a tape and a pencil")
    assert told_of(cast.therapist) == [("account.password_chosen", "theo", "command")]


def test_what_the_servers_command_line_does_is_told_on_the_account_only(cast: Cast) -> None:
    services.unlock(user=cast.therapist)
    assert AccountEvent.objects.get(about=cast.therapist).by is None
    assert told_of(cast.therapist) == []


def test_whatever_is_done_to_an_account_has_its_sentence_and_is_no_look() -> None:
    verbs = {f"account.{verb.value}" for verb in AccountVerb} | {"account.added"}
    assert verbs <= SENTENCES.keys() - LOOKS


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
