"""Every address of the app declares who may use it."""

from collections.abc import Iterator

import pytest
from django.test import Client as Browser
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from clinic.accounts.permits import OPEN_TO_ALL, PERMITS
from clinic.common.vocabulary import Role
from tests.cast import Cast, make_cast

NOWHERE = "00000000-0000-4000-8000-000000000000"


def all_patterns(resolver: URLResolver | None = None) -> Iterator[URLPattern]:
    for pattern in (resolver or get_resolver()).url_patterns:
        if isinstance(pattern, URLResolver):
            yield from all_patterns(pattern)
        else:
            yield pattern


PATTERNS = list(all_patterns())


STAND_INS = {"UUIDConverter": NOWHERE, "IntConverter": 999_999_999, "SlugConverter": "surgery"}


def address(pattern: URLPattern) -> str:
    """The pattern's address for records that do not exist."""
    converters = pattern.pattern.converters
    given = {name: STAND_INS[type(converters[name]).__name__] for name in converters}
    return reverse(pattern.name, kwargs=given)


@pytest.mark.parametrize("pattern", PATTERNS, ids=lambda pattern: pattern.name)
def test_every_url_names_its_permit(pattern: URLPattern) -> None:
    named = getattr(pattern.callback, "permit", None)
    assert named == OPEN_TO_ALL or named in PERMITS


def test_only_signing_in_and_out_and_the_secret_feeds_are_open_to_all() -> None:
    open_names = {p.name for p in PATTERNS if p.callback.permit == OPEN_TO_ALL}
    assert open_names == {
        "sign-in",
        "sign-in-code",
        "sign-in-again",
        "sign-out",
        "calendar-feed",
    }


@pytest.mark.django_db
@pytest.mark.parametrize("method", ["get", "post"])
def test_nobody_unknown_reaches_any_page(client: Browser, method: str) -> None:
    for pattern in PATTERNS:
        if pattern.callback.permit == OPEN_TO_ALL:
            continue
        response = getattr(client, method)(address(pattern))
        assert response.status_code == 302, pattern.name
        assert response.url.startswith(reverse("sign-in")), pattern.name


@pytest.mark.django_db
@pytest.mark.parametrize("role", list(Role))
@pytest.mark.parametrize("method", ["get", "post"])
def test_a_role_without_the_permit_is_refused_everywhere(role: Role, method: str) -> None:
    cast: Cast = make_cast()
    user = {
        Role.FRONT_DESK: cast.front_desk,
        Role.THERAPIST: cast.therapist,
        Role.CLINIC_LEAD: cast.lead,
    }[role]
    browser = Browser()
    browser.force_login(user)
    for pattern in PATTERNS:
        permit = pattern.callback.permit
        if permit == OPEN_TO_ALL:
            continue
        status = getattr(browser, method)(address(pattern)).status_code
        if role in PERMITS[permit]:
            assert status != 403, (pattern.name, status)
        else:
            assert status == 403, (pattern.name, status)


@pytest.mark.django_db
def test_a_one_time_password_opens_only_the_page_that_replaces_it() -> None:
    cast = make_cast()
    cast.therapist.must_choose_password = True
    cast.therapist.save()
    browser = Browser()
    browser.force_login(cast.therapist)
    for pattern in PATTERNS:
        if pattern.callback.permit in {OPEN_TO_ALL, "account.own"}:
            continue
        response = browser.get(address(pattern))
        assert (response.status_code, response.url) == (302, reverse("choose-password"))
