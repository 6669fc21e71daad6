"""What every response carries, by the OWASP HTTP Headers Cheat Sheet (from memory, not re-read)."""

import pytest
from django.http import HttpResponse
from django.test import Client as Browser
from django.test import RequestFactory
from django.urls import reverse

from clinic.common.methods import MOST_BYTES, FormsOnly
from tests.architecture.test_permits import PATTERNS, address
from tests.cast import Cast

pytestmark = pytest.mark.django_db

EXPECTED = {
    "X-Frame-Options": "DENY",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


def test_every_answer_of_every_address_carries_them_whatever_its_status(
    lead: Browser, client: Browser, cast: Cast
) -> None:
    statuses = set()
    for browser in (lead, client):
        for pattern in PATTERNS:
            if pattern.name in {"sign-out", "calendar-feed"}:  # ends the walk; needs a secret
                continue
            answer = browser.get(address(pattern))
            statuses.add(answer.status_code)
            found = {name: answer.headers.get(name) for name in EXPECTED}
            assert found == EXPECTED, pattern.name
            policy = answer.headers["Content-Security-Policy"]
            assert "default-src 'none'" in policy, pattern.name
            assert "unsafe" not in policy, pattern.name
            assert "camera=()" in answer.headers["Permissions-Policy"], pattern.name
            assert "no-store" in answer.headers["Cache-Control"], pattern.name
    assert {200, 302, 404, 405} <= statuses


def test_no_cookie_says_what_a_message_says(desk: Browser) -> None:
    typed = {"given_name": "Wren", "family_name": "Ostrander", "street": "4 Quay Street"}
    typed |= {"town": "Saltmarsh, ME 04000", "delivery": "post", "letter_frequency": "monthly"}
    answer = desk.post(reverse("referrer-new"), typed)
    assert answer.status_code == 302
    assert set(desk.cookies) == {"ebbline"}
    assert "Wren Ostrander" in desk.get(answer.url).text


@pytest.mark.parametrize(("size", "status"), [(MOST_BYTES, 200), (MOST_BYTES + 1, 413)])
def test_nobody_fills_the_disk_with_what_they_send(size: int, status: int) -> None:
    """RFC 9110, 15.5.14: 413 where more is sent than is taken."""
    request = RequestFactory().post(reverse("sign-in"), CONTENT_LENGTH=str(size))
    assert FormsOnly(lambda _: HttpResponse())(request).status_code == status


def test_the_browser_keeps_nothing_typed_of_a_client_to_offer_it_to_the_next(desk: Browser) -> None:
    """HTML Living Standard, 4.10.18.7.1: "off" on the form is the default of its fields."""
    for name in ("client-new", "referrer-new"):
        form = desk.get(reverse(name)).text.split("<main")[1].split("<form")[1].split(">")[0]
        assert 'autocomplete="off"' in form, name


def test_no_page_of_the_account_carries_inline_code_or_style(lead: Browser, cast: Cast) -> None:
    for name in ("account", "second-factor", "choose-password", "staff", "today"):
        page = lead.get(reverse(name)).text
        assert " style=" not in page, name
        assert "<script>" not in page, name
        assert " onclick=" not in page, name
