"""A page asks the database as often in a large practice as in one with a single client."""

import pytest
from django.test import Client as Browser

from clinic.clients.models import Episode
from clinic.common.vocabulary import Phase, Role
from measurements.services.standings import keep_standings
from tests.bench.crowd import fill
from tests.bench.test_pages_bench import pages_of, queries_of
from tests.builders import make_client, make_episode, make_protocol, make_referrer, make_session
from tests.cast import Cast, make_staff

CLIENTS, SESSIONS_EACH = 400, 5


def queries_of_pages(browser: Browser, episode: Episode) -> dict[str, int]:
    return {name: queries_of(browser, asked) for name, asked in pages_of(episode).items()}


@pytest.mark.django_db
def test_pages_ask_as_often_for_four_hundred_clients_as_for_one(cast: Cast) -> None:
    browser = Browser()
    browser.force_login(cast.therapist)
    # As the crowd: a process reads the girths of an intensive phase once, and remembers its fit.
    values = {"phase": Phase.MAINTENANCE}
    only = make_episode(make_client(referrer=make_referrer()), cast.therapist, **values)
    protocol = make_protocol()
    for month in range(1, SESSIONS_EACH + 1):
        make_session(only, protocol, taken_on=only.opened_on.replace(month=month))
    keep_standings([only.pk])
    alone = queries_of_pages(browser, only)

    others = [make_staff(f"therapist{n}", f"Therapist {n}", Role.THERAPIST) for n in range(3)]
    fill(clients=CLIENTS, sessions_each=SESSIONS_EACH, therapists=[*others, cast.therapist])
    one_of_many = Episode.objects.filter(therapist=cast.therapist).order_by("pk").last()
    assert one_of_many is not None
    assert one_of_many != only
    assert queries_of_pages(browser, one_of_many) == alone
