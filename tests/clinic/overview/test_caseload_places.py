"""The query that places the caseload's lines says what the rules say of each line."""

from collections import Counter
from datetime import date
from random import Random
from typing import Any

import pytest
from dateutil.relativedelta import relativedelta
from django.db import connection, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import Phase as Step
from hypothesis import strategies as st

from clinic.clients.models import Episode
from clinic.common.vocabulary import Phase
from clinic.overview.caseload import EVERYONE, Asked, CaseloadLine, DueBy, JudgedAs, Order
from clinic.overview.caseload_facts import Elsewhere, caseload_lines
from clinic.overview.caseload_places import places
from clinic.overview.concern import FlagKind
from tests.builders import today
from tests.cast import Cast
from tests.clinic.overview.caseload_crowd import crowd, fill
from tests.clinic.overview.caseload_rules import fits, in_order

EPISODES = 12
FILTERS: list[dict[str, Any]] = [
    *({"phase": each} for each in Phase if each is not Phase.DISCHARGED),
    *({"judged": each} for each in JudgedAs),
    *({"due": each} for each in DueBy),
    *({"flag": each} for each in FlagKind),
]
ASKED = [
    *(Asked(whose=EVERYONE, **each) for each in FILTERS),
    *(
        Asked(whose=EVERYONE, order=order, is_descending=turned)
        for order in Order
        for turned in (False, True)
    ),
    Asked(whose=EVERYONE, judged=JudgedAs.WORSE, due=DueBy.LATE, flag=FlagKind.PRECAUTION),
]
ASKED_OF_EACH = 15  # practices differ; each is asked for some of it


@pytest.mark.django_db
@settings(
    max_examples=8,
    deadline=None,
    phases=[Step.generate],  # a shorter list of chances makes no simpler practice
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(random=st.randoms(use_true_random=True))
def test_the_database_places_every_line_as_the_rules_do(cast: Cast, random: Random) -> None:
    therapists = [cast.therapist, cast.other_therapist, cast.lead]
    with transaction.atomic():
        elsewhere = fill(crowd(random, today(), therapists), episodes=EPISODES)
        lines = list(caseload_lines(Episode.objects.all(), elsewhere).values())
        for asked in (Asked(whose=EVERYONE), *random.sample(ASKED, ASKED_OF_EACH)):
            _compare(lines, asked, elsewhere)
        transaction.set_rollback(True)


def _compare(lines: list[CaseloadLine], asked: Asked, elsewhere: Elsewhere) -> None:
    told = [line for line in lines if fits(line, asked, today=elsewhere.today)]
    found = places(Episode.objects.order_by(), asked, elsewhere, length=EPISODES)
    assert list(found.keys) == [line.episode_id for line in in_order(told, asked)], asked
    assert +Counter(found.counts) == Counter(line.concern for line in told), asked
    assert found.behind == sum(line.is_behind for line in told)


@pytest.mark.django_db
@given(
    days=st.lists(st.dates(date(1990, 1, 1), date(2090, 12, 31)), min_size=50, max_size=50),
    months=st.integers(1, 24),
)
@settings(max_examples=20, deadline=None)
def test_months_end_on_the_same_day_in_the_database(days: list[date], months: int) -> None:
    """The rules count months by dateutil: the last day of a month where there is no 31st."""
    days = [*days, date(2026, 8, 31), date(2024, 2, 29), date(2026, 1, 31)]
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT (day + make_interval(months => %s))::date"
            " FROM unnest(%s::date[]) WITH ORDINALITY AS each (day, place) ORDER BY place",
            [months, days],
        )
        found = [day for (day,) in cursor.fetchall()]
    assert found == [day + relativedelta(months=months) for day in days]


@pytest.mark.django_db
def test_a_page_beyond_the_last_is_the_last(cast: Cast) -> None:
    elsewhere = fill(crowd(Random(7), today(), [cast.therapist]), episodes=9)
    episodes = Episode.objects.order_by()
    whole = places(episodes, Asked(order=Order.NAME), elsewhere, length=100)
    start = (len(whole.keys) - 1) // 5 * 5
    assert start == 5
    for page in (2, 10**30):
        last = places(episodes, Asked(order=Order.NAME, page=page), elsewhere, length=5)
        assert list(last.keys) == list(whole.keys)[start:]
        assert last.total == len(whole.keys)
