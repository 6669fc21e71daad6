"""The course page in headless Chromium, under the strict content policy."""

import re
from collections.abc import Iterator
from datetime import timedelta

import pytest
from django.conf import settings
from django.test import Client as Browser
from django.urls import reverse
from playwright.sync_api import Page, sync_playwright
from pytest_django.live_server_helper import LiveServer

from measurements.models import GirthSession
from tests.builders import make_client, make_episode, make_protocol, make_session, today
from tests.cast import Cast, make_cast

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]

CHROMIUM = [
    "--no-sandbox",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]


@pytest.fixture
def page() -> Iterator[Page]:
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path="/usr/bin/chromium", args=CHROMIUM)
        yield browser.new_page(viewport={"width": 1280, "height": 800})
        browser.close()


def taped(cast: Cast) -> GirthSession:
    episode, protocol = make_episode(make_client(), cast.therapist), make_protocol()
    for days in (40, 20):
        taken_on = today() - timedelta(days=days)
        make_session(episode, protocol, taken_on=taken_on, is_baseline=days == 40)
    return make_session(episode, protocol, taken_on=today())


def sign_in(page: Page, live_server: LiveServer, cast: Cast) -> None:
    browser = Browser()
    browser.force_login(cast.therapist)
    cookie = browser.cookies[settings.SESSION_COOKIE_NAME].value
    page.context.add_cookies(
        [{"name": settings.SESSION_COOKIE_NAME, "value": cookie, "url": live_server.url}]
    )


def test_the_chart_draws_under_the_strict_policy_and_calls_no_other_host(
    live_server: LiveServer, page: Page
) -> None:
    cast = make_cast()
    session = taped(cast)
    sign_in(page, live_server, cast)
    said: list[tuple[str, str]] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append((message.type, message.text)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(live_server.url + reverse("girths-course", args=[session.episode_id]))
    page.wait_for_selector(".chart-drawn .main-svg", timeout=30_000)

    assert [text for kind, text in said if kind in {"error", "warning"}] == []
    assert {re.match(r"https?://[^/]+", url).group() for url in asked if url[:4] == "http"} == {
        live_server.url
    }
    titles = page.locator(".modebar-btn").evaluate_all(
        "buttons => buttons.map(button => button.dataset.title || '')"
    )
    assert titles
    assert not [title for title in titles if re.search("cloud|share|upload|plotly", title, re.I)]
    assert page.locator(".chart-drawn .scatterlayer .trace").count() >= 5
    assert page.locator(".chart-still").first.is_hidden()


def test_the_page_reads_without_scripts(live_server: LiveServer, page: Page) -> None:
    cast = make_cast()
    session = taped(cast)
    sign_in(page, live_server, cast)
    page.route("**/*.js", lambda route: route.abort())
    page.goto(live_server.url + reverse("girths-course", args=[session.episode_id]))
    assert page.locator(".chart-still svg").first.is_visible()
    assert page.locator("#arm-table tbody tr").count() == 3
