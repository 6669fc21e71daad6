"""Wrong passwords are counted, and shut out for a while, without saying who exists.

As NIST SP 800-63B rev. 4, 3.2.2, asks of every verifier; a signed-in person's page is one as well.
"""

import logging
from datetime import timedelta
from io import StringIO

import pytest
from axes.models import AccessAttempt
from django.conf import settings
from django.core.management import call_command
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from clinic.accounts.access import SecondFactor, SignedIn
from clinic.accounts.forms import OwnPassword
from clinic.accounts.services import unlock
from tests.cast import PASSWORD, Cast

pytestmark = pytest.mark.django_db
HERE = "192.0.2.10"
ELSEWHERE = "192.0.2.99"
BACKGROUND = {"X-Background": "yes"}


def attempt(browser: Browser, name: str, password: str, address: str = HERE):  # type: ignore[no-untyped-def]
    typed = {"username": name, "password": password}
    return browser.post(reverse("sign-in"), typed, REMOTE_ADDR=address)


def shut_out(browser: Browser, name: str = "theo") -> None:
    for _ in range(5):
        last = attempt(browser, name, "guess")
    assert last.status_code == 429


def words(text: str) -> str:
    return " ".join(text.split("<main")[1].split())


def test_after_five_wrong_ones_even_the_right_password_waits(client: Browser, cast: Cast) -> None:
    shut_out(client)
    page = attempt(client, "THEO", PASSWORD)
    assert page.status_code == 429
    assert page.headers["Retry-After"] == "900"
    assert "Too many attempts with this name from here. Wait 15 minutes" in page.text
    assert 'value="THEO"' in page.text
    assert client.get(reverse("today")).status_code == 302


def test_the_page_says_the_same_of_a_name_that_does_not_exist(client: Browser, cast: Cast) -> None:
    pages = []
    for name in ("theo", "nemo"):
        shut_out(client, name)
        page = attempt(client, name, PASSWORD)
        token = page.context["csrf_token"]
        pages.append(words(page.text).replace(name, "NAME").replace(str(token), "TOKEN"))
    assert pages[0] == pages[1]


def test_the_same_person_gets_in_from_another_address_and_others_from_here(
    client: Browser, cast: Cast
) -> None:
    shut_out(client)
    assert attempt(Browser(), "theo", PASSWORD, ELSEWHERE).status_code == 302
    assert attempt(Browser(), "dora", PASSWORD).status_code == 302


# Addresses of RFC 3849 and RFC 5737; the IPv4-mapped form is that of RFC 4291, 2.5.5.2.
@pytest.mark.parametrize(
    ("first", "then", "waits"),
    [
        ("2001:db8:0:1::5", "2001:db8:0:1:ffff::9", True),
        ("2001:db8:0:1::5", "2001:db8:0:2::5", False),
        ("::ffff:192.0.2.10", "::ffff:192.0.2.99", False),
    ],
)
def test_another_address_of_the_same_ipv6_network_opens_no_fresh_count(
    client: Browser, cast: Cast, first: str, then: str, waits: bool
) -> None:
    for _ in range(5):
        attempt(client, "theo", "guess", first)
    assert (attempt(client, "theo", PASSWORD, then).status_code == 429) is waits


def test_signing_in_clears_the_count(client: Browser, cast: Cast) -> None:
    for _ in range(4):
        attempt(client, "theo", "guess")
    assert attempt(client, "theo", PASSWORD).status_code == 302
    assert not AccessAttempt.objects.exists()


def test_the_lead_sees_who_is_locked_out_and_lets_them_try_again(
    client: Browser, lead: Browser, cast: Cast
) -> None:
    shut_out(client)
    assert lead.get(reverse("staff")).text.count("locked out") == 1
    address = reverse("staff-unlock", args=[cast.therapist.pk])
    assert address in lead.get(reverse("staff-edit", args=[cast.therapist.pk])).text
    lead.post(address)
    assert attempt(client, "theo", PASSWORD).status_code == 302


def test_the_command_lets_a_locked_out_lead_try_again(client: Browser, cast: Cast) -> None:
    shut_out(client, "leona")
    call_command("unlock", "Leona", stdout=StringIO())
    assert attempt(client, "leona", PASSWORD).status_code == 302


def test_no_log_line_names_the_sender_or_the_name(
    client: Browser, cast: Cast, caplog: pytest.LogCaptureFixture
) -> None:
    axes = logging.getLogger("axes")
    axes.addHandler(caplog.handler)
    try:
        shut_out(client)
    finally:
        axes.removeHandler(caplog.handler)
    assert not [line for line in caplog.messages if "theo" in line or HERE in line]
    assert axes.level == logging.ERROR


def test_what_is_counted_holds_no_password(client: Browser, cast: Cast) -> None:
    attempt(client, "theo", "a guess that is nearly right")
    kept = AccessAttempt.objects.values().get()
    assert "nearly right" not in str(kept)


ASKING_AGAIN = ("choose-password", "second-factor", "recovery-codes", "second-factor-off")


def inside(cast: Cast) -> Browser:
    """The therapist, signed in and with a second step, so that every page asks for the password."""
    browser = Browser(REMOTE_ADDR=HERE)
    assert attempt(browser, "theo", PASSWORD).status_code == 302
    SecondFactor.objects.create(user=cast.therapist, name="app", secret_sealed="not asked here")
    return browser


@pytest.mark.parametrize("name", ASKING_AGAIN)
def test_five_wrong_ones_in_an_open_session_end_it(cast: Cast, name: str) -> None:
    browser = inside(cast)
    for _ in range(4):
        page = browser.post(reverse(name), {"password_now": "guess"})
        assert (page.status_code, "That is not your password." in page.text) == (200, True)
    assert browser.post(reverse(name), {"password_now": "guess"}).url == reverse("sign-in")
    assert not SignedIn.objects.filter(user=cast.therapist).exists()
    page = browser.get(reverse("sign-in")).text
    assert "Too many wrong passwords were typed for your name from here" in page
    assert "data-person" not in page
    assert attempt(browser, "theo", PASSWORD).status_code == 429


def test_wrong_ones_at_sign_in_and_in_a_session_are_one_count(client: Browser, cast: Cast) -> None:
    browser = inside(cast)
    for name in ASKING_AGAIN[:2]:
        browser.post(reverse(name), {"password_now": "guess"})
    for _ in range(2):
        assert attempt(client, "Theo", "guess").status_code == 200
    right = browser.post(reverse("recovery-codes"), {"password_now": PASSWORD})
    assert "shown this once" in right.text
    assert not AccessAttempt.objects.exists()
    for _ in range(5):
        attempt(client, "theo", "guess")
    even_right = browser.post(reverse("recovery-codes"), {"password_now": PASSWORD})
    assert even_right.url == reverse("sign-in")


def test_only_the_session_in_which_was_guessed_ends(cast: Cast) -> None:
    browser, other = inside(cast), Browser()
    other.force_login(cast.therapist)
    for _ in range(5):
        browser.post(reverse("recovery-codes"), {"password_now": "guess"})
    assert browser.get(reverse("today")).status_code == 302
    assert other.get(reverse("today")).status_code == 200


def test_nothing_of_a_password_form_is_counted_in_clear(cast: Cast) -> None:
    browser = inside(cast)
    typed = ("password_now", "password", "again", "code")
    browser.post(reverse("choose-password"), {name: f"told {name}" for name in typed})
    assert "told" not in str(AccessAttempt.objects.values().get())
    masked = {"password", *settings.AXES_SENSITIVE_PARAMETERS}
    for form in (OwnPassword, *OwnPassword.__subclasses__()):
        assert form.base_fields.keys() <= masked


def test_what_waits_under_the_cover_outlives_a_lock(cast: Cast) -> None:
    browser = inside(cast)
    SecondFactor.objects.all().delete()
    SignedIn.objects.update(seen_at=timezone.now() - timedelta(minutes=16))
    browser.post(reverse("client-new"), {"given_name": "Ida"})
    typed = {"username": "theo", "password": "guess"}
    for _ in range(5):
        covered = browser.post(reverse("sign-in-again"), typed, headers=BACKGROUND)
    assert covered.status_code == 429
    assert "Too many attempts" in covered.json()["said"]
    unlock(user=cast.therapist)
    back = attempt(browser, "theo", PASSWORD)
    assert "Ida" in browser.get(back.url).text


def test_a_script_that_guesses_in_an_open_session_is_answered_and_signed_out(cast: Cast) -> None:
    browser = inside(cast)
    typed = {"username": "theo", "password": "guess"}
    for _ in range(5):
        said = browser.post(reverse("sign-in-again"), typed, headers=BACKGROUND)
    assert (said.status_code, said.json()["state"]) == (429, "no")
    assert browser.get(reverse("today")).status_code == 302
