"""Pages at 20,000 clients and 100,000 sessions: constant query counts, little time beyond SQL."""

from collections.abc import Callable
from dataclasses import dataclass
from statistics import median
from time import perf_counter
from typing import Any

import pytest
from django.db import connection
from django.test import Client as Browser
from django.test import RequestFactory
from django.urls import reverse

from clinic.clients.models import Client, Episode
from clinic.common.vocabulary import Phase, Role
from clinic.wsgi import application
from measurements.models import GirthSession
from measurements.services.standings import keep_standings
from tests.bench.crowd import fill
from tests.builders import (
    make_client,
    make_episode,
    make_protocol,
    make_referrer,
    make_session,
)
from tests.cast import Cast, make_cast, make_staff

pytestmark = [pytest.mark.bench, pytest.mark.django_db]

# Own bound: within 4 times the page's own SQL, or 50 ms, the larger of both.
TIMES_SQL = 4
FLOOR_S = 0.050
REPEATS = 7
MOST_ROUNDS = 20
SERVER = application  # as a clinic runs it


@dataclass(frozen=True)
class Run:
    """One request: how many queries, how long in all, how long in SQL."""

    queries: int
    total_s: float
    sql_s: float


def run(browser: Browser, method: str, address: str, fields: dict[str, str]) -> Run:
    spent: list[float] = []

    def timed(execute: Callable[..., Any], *args: Any) -> Any:
        started = perf_counter()
        try:
            return execute(*args)
        finally:
            spent.append(perf_counter() - started)

    request = getattr(RequestFactory(), method)(address, fields)
    request.COOKIES.update({name: cookie.value for name, cookie in browser.cookies.items()})
    request._dont_enforce_csrf_checks = True
    # The server's own handler: the test client would copy the context of every template.
    with connection.execute_wrapper(timed):
        started = perf_counter()
        response = SERVER.get_response(request)
        total_s = perf_counter() - started
    assert response.status_code == 200, address
    return Run(len(spent), total_s, sum(spent))


def queries_of(browser: Browser, asked: tuple[str, str, dict[str, str]]) -> int:
    """Of the second of two requests: the first may note that the session is still in use."""
    run(browser, *asked)
    return run(browser, *asked).queries


def best_round(
    browser: Browser, asked: tuple[str, str, dict[str, str]]
) -> tuple[float, float, float]:
    """(median, median in SQL, allowed) in s of a round of requests.

    A shared machine runs at half its speed for seconds at a time; a round that fell into such a
    spell is measured again, the bound stays.
    """
    rounds = []
    for _ in range(MOST_ROUNDS):
        runs = [run(browser, *asked) for _ in range(REPEATS)]
        total_s, sql_s = (median(getattr(r, part) for r in runs) for part in ("total_s", "sql_s"))
        rounds.append((total_s, sql_s, max(TIMES_SQL * sql_s, FLOOR_S)))
        if total_s <= rounds[-1][2]:
            return rounds[-1]
    return min(rounds)


def pages_of(episode: Episode) -> dict[str, tuple[str, str, dict[str, str]]]:
    session = episode.girth_sessions.order_by("taken_on").last()
    region = episode.regions.get()
    name = episode.client.family_name[:6]
    return {
        "today": ("get", reverse("today"), {}),
        "caseload": ("get", reverse("caseload"), {}),
        "everyone's": ("get", reverse("caseload"), {"whose": "all"}),
        "clients": ("get", reverse("clients"), {}),
        "search": ("post", reverse("clients"), {"words": name}),
        "client": ("get", reverse("client", args=[episode.client_id]), {}),
        "referrers": ("get", reverse("referrers"), {}),
        "protocols": ("get", reverse("protocols"), {}),
        "enter": ("get", reverse("girths-enter", args=[episode.pk]), {}),
        "session": ("get", reverse("girths-session", args=[session.pk]), {}),
        "course": ("get", reverse("girths-course", args=[episode.pk]), {}),
        "findings": ("get", reverse("findings", args=[region.pk]), {}),
        "letters": ("get", reverse("letters", args=[episode.pk]), {}),
    }


@pytest.fixture
def cast(db: None) -> Cast:
    return make_cast()


@pytest.fixture
def browser(cast: Cast) -> Browser:
    browser = Browser()
    browser.force_login(cast.therapist)
    return browser


def test_pages_stay_fast_and_ask_no_more_in_a_large_practice(
    browser: Browser, cast: Cast, capsys: pytest.CaptureFixture[str]
) -> None:
    values = {"phase": Phase.MAINTENANCE}  # as the crowd
    small = make_episode(make_client(referrer=make_referrer()), cast.therapist, **values)
    protocol = make_protocol()
    for month in range(1, 6):
        make_session(small, protocol, taken_on=small.opened_on.replace(month=month))
    keep_standings([small.pk])
    few = {name: queries_of(browser, asked) for name, asked in pages_of(small).items()}

    therapists = [make_staff(f"therapist{n}", f"Therapist {n}", Role.THERAPIST) for n in range(39)]
    therapists.append(cast.therapist)
    fill(clients=20_000, sessions_each=5, therapists=therapists)
    assert Client.objects.count() > 20_000
    assert GirthSession.objects.count() > 100_000
    large = Episode.objects.filter(therapist=cast.therapist).order_by("pk").last()

    told = []
    for name, asked in pages_of(large).items():
        queries = queries_of(browser, asked)
        total_s, sql_s, limit_s = best_round(browser, asked)
        told.append((name, queries, few[name], total_s, sql_s, limit_s))
    with capsys.disabled():
        for name, queries, _, total_s, sql_s, limit_s in told:
            print(
                f"\n{name:10} {queries:3} queries  {total_s * 1000:7.1f} ms  "
                f"SQL {sql_s * 1000:7.1f} ms  allowed {limit_s * 1000:7.1f} ms",
                end="",
            )
    assert {name: queries for name, queries, *_ in told} == few
    assert not [name for name, _, _, total_s, _, limit_s in told if total_s > limit_s]
