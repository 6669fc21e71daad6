"""Wrong passwords are counted, and shut out for a while, without saying who exists."""

import logging
from io import StringIO

import pytest
from axes.models import AccessAttempt
from django.core.management import call_command
from django.test import Client as Browser
from django.urls import reverse

from tests.cast import PASSWORD, Cast

pytestmark = pytest.mark.django_db
HERE = "192.0.2.10"
ELSEWHERE = "192.0.2.99"


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
