"""Who is ready for garments, over the whole caseload at once."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from clinic.clients.models import Episode, PhaseChange
from clinic.common.vocabulary import Involvement, Limb, Phase, Region, RegionSide
from measurements.models import GirthReading
from measurements.selectors.plateaus import ready_for_garments
from measurements.selectors.reports import episode_course
from tests.builders import ARM_OTHER_CM, make_client, make_episode, make_protocol, make_session
from tests.cast import Cast
from tests.measurements.decongested import SESSION_DAYS, decongested, girths_on

FIRST_ON = date(2026, 1, 5)
AFTER = FIRST_ON + timedelta(days=60)
BILATERAL = [
    (Region.ARM, RegionSide.LEFT, Involvement.SWOLLEN),
    (Region.ARM, RegionSide.RIGHT, Involvement.SWOLLEN),
]


@pytest.fixture
def episode(cast: Cast) -> Episode:
    return make_episode(make_client(), cast.therapist)


def day_of_the_page(episode: Episode) -> date:
    """What the course page says, reckoned session by session."""
    days = [
        phase.told.within_on
        for course in episode_course(Episode.objects.get(pk=episode.pk))
        for phase in course.decongestion
        if phase.told
    ]
    return max(days)


def test_an_arm_at_its_plateau_is_ready_since_the_day_of_its_course_page(episode: Episode) -> None:
    decongested(episode, make_protocol(), first_on=FIRST_ON)
    assert ready_for_garments(AFTER) == {episode.pk: day_of_the_page(episode)}


def test_both_arms_and_a_second_trial_agree_with_the_page_too(cast: Cast) -> None:
    episode = make_episode(make_client(), cast.therapist, regions=BILATERAL)
    sessions = decongested(episode, make_protocol(), first_on=FIRST_ON)
    for session in sessions[:3]:
        GirthReading.objects.create(
            session=session, side="right", level_cm=Decimal(20), trial=2, girth_cm=Decimal("29.9")
        )
    assert ready_for_garments(AFTER) == {episode.pk: day_of_the_page(episode)}


def test_one_arm_taped_alone_is_followed_by_its_own_volume(episode: Episode) -> None:
    protocol = make_protocol()
    for day in SESSION_DAYS:
        make_session(
            episode,
            protocol,
            taken_on=FIRST_ON + timedelta(days=day),
            right_cm=girths_on(day, extra_cm=4),
            left_cm=[],
        )
    assert ready_for_garments(AFTER) == {episode.pk: day_of_the_page(episode)}


def test_an_arm_that_still_falls_is_not_ready(episode: Episode) -> None:
    decongested(episode, make_protocol(), first_on=FIRST_ON, rate_per_day=0.03, extra_cm=4)
    assert ready_for_garments(AFTER) == {}


def test_too_few_days_are_not_ready(episode: Episode) -> None:
    decongested(episode, make_protocol(), first_on=FIRST_ON, days=(0, 5, 10, 20))
    assert ready_for_garments(AFTER) == {}


def test_what_was_taped_later_does_not_count(episode: Episode) -> None:
    decongested(episode, make_protocol(), first_on=FIRST_ON)
    assert ready_for_garments(FIRST_ON + timedelta(days=SESSION_DAYS[3])) == {}


def test_a_rebound_is_not_ready(episode: Episode) -> None:
    protocol = make_protocol()
    decongested(episode, protocol, first_on=FIRST_ON)
    for day in (24, 26, 28):
        make_session(
            episode,
            protocol,
            taken_on=FIRST_ON + timedelta(days=day),
            right_cm=girths_on(0),
        )
    assert ready_for_garments(AFTER) == {}


@pytest.mark.parametrize("phase", [Phase.MAINTENANCE, Phase.SURVEILLANCE, Phase.DISCHARGED])
def test_only_the_intensive_phase_asks_for_garments(episode: Episode, phase: Phase) -> None:
    decongested(episode, make_protocol(), first_on=FIRST_ON)
    PhaseChange.objects.create(
        episode=episode,
        phase=phase,
        since_on=FIRST_ON + timedelta(days=22),
        reason="plateau",
        by=episode.therapist,
    )
    assert ready_for_garments(AFTER) == {}


def test_a_deactivated_client_is_left_in_peace(episode: Episode) -> None:
    decongested(episode, make_protocol(), first_on=FIRST_ON)
    client = episode.client
    client.deactivated_at, client.deactivated_reason = timezone.now(), "moved away"
    client.save()
    assert ready_for_garments(AFTER) == {}


def test_struck_sessions_do_not_count(episode: Episode) -> None:
    sessions = decongested(episode, make_protocol(), first_on=FIRST_ON)
    type(sessions[0]).objects.filter(pk__in=[each.pk for each in sessions[4:]]).update(
        struck_at=timezone.now(), struck_by=episode.therapist, struck_reason="wrong client"
    )
    assert ready_for_garments(AFTER) == {}


def test_an_arm_waits_for_the_leg_of_the_same_episode(cast: Cast) -> None:
    regions = [
        (Region.ARM, RegionSide.RIGHT, Involvement.SWOLLEN),
        (Region.LEG, RegionSide.RIGHT, Involvement.SWOLLEN),
    ]
    episode = make_episode(make_client(), cast.therapist, regions=regions)
    decongested(episode, make_protocol(), first_on=FIRST_ON)
    assert ready_for_garments(AFTER)
    leg = make_protocol(limb=Limb.LEG, start_landmark="lateral malleolus")
    for day in SESSION_DAYS:
        wider = [2 * girth - 0.1 * day for girth in ARM_OTHER_CM]
        make_session(
            episode,
            leg,
            taken_on=FIRST_ON + timedelta(days=day),
            right_cm=[round(girth, 1) for girth in wider],
            left_cm=[round(1.7 * girth, 1) for girth in ARM_OTHER_CM],
        )
    assert ready_for_garments(AFTER) == {}


def test_two_queries_for_one_client_and_for_twelve_and_one_when_nothing_is_new(
    cast: Cast,
) -> None:
    protocol = make_protocol()
    asked = []
    for count in (1, 11, 0):
        for _ in range(count):
            own = make_episode(make_client(), cast.therapist)
            decongested(own, protocol, first_on=FIRST_ON)
        with CaptureQueriesContext(connection) as queries:
            assert ready_for_garments(AFTER)
        asked.append(len(queries))
    assert asked == [2, 2, 1]
    assert len(ready_for_garments(AFTER)) == 12


def test_what_is_remembered_makes_way_for_a_new_session(episode: Episode) -> None:
    protocol = make_protocol()
    decongested(episode, protocol, first_on=FIRST_ON)
    assert ready_for_garments(AFTER)
    for day in (24, 26, 28):
        make_session(
            episode, protocol, taken_on=FIRST_ON + timedelta(days=day), right_cm=girths_on(0)
        )
    assert ready_for_garments(AFTER) == {}
