"""Signing in, one-time passwords, and what every response carries."""

import re
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import IntegrityError
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format

from clinic.accounts import services
from clinic.accounts.models import User
from clinic.common.vocabulary import Role
from tests.cast import PASSWORD, Cast

pytestmark = pytest.mark.django_db


def sign_in(browser: Browser, name: str, password: str):  # type: ignore[no-untyped-def]
    return browser.post(reverse("sign-in"), {"username": name, "password": password})


def test_a_person_signs_in_however_the_name_is_capitalised(client: Browser, cast: Cast) -> None:
    assert sign_in(client, "THEO", PASSWORD).url == reverse("today")


def test_a_wrong_password_keeps_the_name_and_says_what_is_wrong(
    client: Browser, cast: Cast
) -> None:
    response = sign_in(client, "theo", "wrong")
    assert response.status_code == 200
    assert 'value="theo"' in response.text
    assert "do not belong together" in response.text


def test_a_switched_off_account_cannot_sign_in(client: Browser, cast: Cast) -> None:
    cast.therapist.is_active = False
    cast.therapist.save()
    assert "do not belong together" in sign_in(client, "theo", PASSWORD).text


def nell() -> User:
    return User(sign_in_name="nell", display_name="Nell Ash", role=Role.THERAPIST)


def test_a_one_time_password_is_replaced_at_the_first_sign_in(client: Browser, db: None) -> None:
    password = services.add_staff(user=nell())
    assert re.fullmatch(r"([a-z2-9]{4}-){3}[a-z2-9]{4}", password)
    sign_in(client, "nell", password)
    assert client.get(reverse("today")).url == reverse("choose-password")
    same = client.post(reverse("choose-password"), {"password": password, "again": password})
    assert "Choose another" in same.text
    new = {"password": "a tape and a pencil", "again": "a tape and a pencil"}
    assert client.post(reverse("choose-password"), new).url == reverse("today")
    client.post(reverse("sign-out"))
    assert "do not belong" in sign_in(client, "nell", password).text
    assert sign_in(client, "nell", new["password"]).url == reverse("today")


def given(ago: timedelta) -> str:
    """The password of an account that was opened so long ago and never used."""
    password = services.add_staff(user=nell())
    person = User.objects.get(sign_in_name="nell")
    User.objects.filter(pk=person.pk).update(one_time_until=person.one_time_until - ago)
    return password


def test_a_one_time_password_opens_the_account_for_three_days(client: Browser, db: None) -> None:
    password = given(timedelta(hours=71, minutes=59))
    assert sign_in(client, "nell", password).url == reverse("today")
    new = {"password": "a tape and a pencil", "again": "a tape and a pencil"}
    client.post(reverse("choose-password"), new)
    assert User.objects.get(sign_in_name="nell").one_time_until is None


def test_one_not_used_in_time_opens_nothing_and_says_so(client: Browser, db: None) -> None:
    password = given(timedelta(hours=72))
    until = User.objects.get(sign_in_name="nell").one_time_until
    said = f"was good until {date_format(timezone.localtime(until), 'j M Y, H:i')}"
    page = sign_in(client, "nell", password)
    assert said in page.text
    assert "Ask the clinic lead for a new one." in page.text
    assert client.get(reverse("today")).status_code == 302
    typed = {"username": "nell", "password": password}
    cover = client.post(reverse("sign-in-again"), typed, headers={"X-Background": "yes"}).json()
    assert (cover["state"], said in cover["said"]) == ("no", True)


def test_who_does_not_know_it_learns_nothing_of_its_end(client: Browser, db: None) -> None:
    given(timedelta(hours=73))
    pages = [sign_in(client, name, "guess") for name in ("nell", "nemo")]
    tokens = [str(page.context["csrf_token"]) for page in pages]
    nell, nemo = (
        page.text.replace(token, "TOKEN").replace(name, "NAME")
        for page, token, name in zip(pages, tokens, ("nell", "nemo"), strict=True)
    )
    assert "do not belong together" in nell
    assert nell == nemo


def test_a_new_one_opens_the_account_again(client: Browser, db: None) -> None:
    given(timedelta(days=30))
    call_command("one_time_password", "nell", stdout=(said := StringIO()))
    assert "It works once, within 72 hours" in said.getvalue()
    assert sign_in(client, "nell", said.getvalue().split()[1]).url == reverse("today")


def test_the_database_ends_no_password_of_ones_own(cast: Cast) -> None:
    with pytest.raises(IntegrityError, match="own_password_has_no_end"):
        User.objects.filter(pk=cast.therapist.pk).update(one_time_until=timezone.now())


@pytest.mark.parametrize(
    ("password", "again", "sentence"),
    [
        ("short", "short", "at least 15 are needed"),
        ("long enough for one", "another one is here", "not the same"),
    ],
)
def test_a_weak_or_mistyped_password_is_refused_in_words(
    therapist: Browser, password: str, again: str, sentence: str
) -> None:
    typed = {"password_now": PASSWORD, "password": password, "again": again}
    response = therapist.post(reverse("choose-password"), typed)
    assert response.status_code == 200
    assert sentence in response.text


def test_signing_out_takes_a_post(therapist: Browser) -> None:
    assert therapist.get(reverse("sign-out")).status_code == 405
    therapist.post(reverse("sign-out"))
    assert therapist.get(reverse("today")).status_code == 302


def test_every_page_forbids_inline_code_and_other_hosts(client: Browser, db: None) -> None:
    response = client.get(reverse("sign-in"))
    policy = response.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy
    assert "no-store" in response.headers["Cache-Control"]
    assert response.headers["X-Frame-Options"] == "DENY"


def test_a_trial_says_that_it_is_one(client: Browser, db: None) -> None:
    assert "This is a trial database" in client.get(reverse("sign-in")).text


def test_no_password_is_kept_in_clear(cast: Cast) -> None:
    stored = User.objects.get(pk=cast.therapist.pk).password
    assert PASSWORD not in stored
    assert stored.startswith("pbkdf2_sha256$")


def test_a_script_that_is_signed_out_gets_a_plain_401_and_no_page(
    client: Browser, db: None
) -> None:
    response = client.get(reverse("today"), headers={"HX-Request": "true"})
    assert (response.status_code, response.content) == (401, b"")
