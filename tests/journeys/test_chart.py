"""The course page in headless Chromium, under the strict content policy."""

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.urls import reverse
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from clinic.accounts.models import User
from measurements.models import GirthSession
from tests.builders import (
    make_client,
    make_episode,
    make_protocol,
    make_referrer,
    make_session,
    today,
)
from tests.cast import Cast

pytestmark = [pytest.mark.journey, pytest.mark.django_db(transaction=True)]


def taped(cast: Cast) -> GirthSession:
    episode, protocol = make_episode(make_client(), cast.therapist), make_protocol()
    for days in (40, 20):
        taken_on = today() - timedelta(days=days)
        make_session(episode, protocol, taken_on=taken_on, is_baseline=days == 40)
    return make_session(episode, protocol, taken_on=today())


def draws_in_peace(page: Page, host: str, path: str) -> None:
    """Opens a page with a chart: nothing is complained of, no other host asked, none offered."""
    said: list[tuple[str, str]] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append((message.type, message.text)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(host + path)
    page.wait_for_selector(".chart-drawn .main-svg", timeout=30_000)

    assert [text for kind, text in said if kind in {"error", "warning"}] == []
    assert {re.match(r"https?://[^/]+", url).group() for url in asked if url[:4] == "http"} == {
        host
    }
    titles = page.locator(".modebar-btn").evaluate_all(
        "buttons => buttons.map(button => button.dataset.title || '')"
    )
    assert titles
    assert not [title for title in titles if re.search("cloud|share|upload|plotly", title, re.I)]


def test_the_chart_draws_under_the_strict_policy_and_calls_no_other_host(
    live_server: LiveServer, page: Page, cast: Cast, sign_in: Callable[[User], None]
) -> None:
    session = taped(cast)
    sign_in(cast.therapist)
    draws_in_peace(page, live_server.url, reverse("girths-course", args=[session.episode_id]))
    assert page.locator(".chart-drawn .scatterlayer .trace").count() >= 5
    assert page.locator(".chart-still").first.is_hidden()


def test_the_practice_report_draws_so_as_well_and_hides_small_groups_there(
    live_server: LiveServer, page: Page, cast: Cast, sign_in: Callable[[User], None]
) -> None:
    for number in range(7):
        referrer = make_referrer(speciality="Medical oncology" if number < 5 else "Family medicine")
        make_episode(make_client(referrer=referrer), cast.therapist, opened_on=today())
    sign_in(cast.lead)
    days = f"?from_on={today() - timedelta(days=30)}&to_on={today()}"
    draws_in_peace(page, live_server.url, reverse("practice-report") + days)
    written = page.locator(".chart-drawn .bartext, .chart-drawn .bars text").all_text_contents()
    assert {"5", "<5"} <= set(written)
    assert "2" not in written


def test_the_page_reads_without_scripts(
    page: Page, cast: Cast, sign_in: Callable[[User], None]
) -> None:
    session = taped(cast)
    sign_in(cast.therapist)
    plain = page.context.new_page()  # one that may complain of the scripts it does not get
    plain.route("**/*.js", lambda route: route.abort())
    plain.goto(reverse("girths-course", args=[session.episode_id]))
    assert plain.locator(".chart-still svg").first.is_visible()
    assert plain.locator("#arm-table tbody tr").count() == 3
