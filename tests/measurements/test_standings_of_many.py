"""Standings are read in bulk and made of no more than they tell: held to the session's own report,
which reads every row, and to the course of its limb."""

from collections import defaultdict
from datetime import date
from random import Random

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic.clients.models import Episode
from clinic.common.vocabulary import Limb, Side
from measurements.limb.comparison import Change
from measurements.report import Caution, LimbCourse, SessionReport, Since
from measurements.selectors.courses import course_of, report_within
from measurements.selectors.standings import MOST_POINTS, reckoned_standings
from measurements.selectors.taped import LimbKey, Taped, sessions_listed, taped
from measurements.standing import ChangeTold, Standing
from tests.builders import make_client, make_episode
from tests.cast import Cast
from tests.measurements.taped_crowd import protocols, taped_episode


def by_limb(episodes: list[Episode]) -> dict[LimbKey, list[Taped]]:
    """The baseline and the last sessions of each kind of limb, as its own pages read them."""
    listed = sessions_listed(episodes)
    found = taped(listed)
    limbs: defaultdict[LimbKey, list[Taped]] = defaultdict(list)
    for each in listed:
        limbs[each.episode_id, Limb(each.limb)].append(found[each.pk])
    return {
        key: [each for each in own[:-MOST_POINTS] if each.facts.is_baseline] + own[-MOST_POINTS:]
        for key, own in limbs.items()
    }


def expected(sessions: list[Taped]) -> Standing:
    report, course = report_within(sessions[-1], sessions), course_of(sessions, [])
    side, compared, relative = told(report), report.comparison, report.relative_change
    own = {Side.LEFT: report.left, Side.RIGHT: report.right, None: None}[side]
    return Standing(
        limb=report.facts.limb,
        session_id=report.facts.id,
        taken_on=report.facts.taken_on,
        affected=report.affected_side,
        is_bilateral=report.is_bilateral,
        side=side,
        is_excess=compared is not None,
        value_ml=compared.excess_ml if compared else own.ml if own else None,
        error_ml=compared.excess_error_ml if compared else own.error_ml if own else None,
        percent=compared.excess_percent if compared else None,
        verdict=compared.verdict if compared else None,
        before=change_told(report.since_previous, side),
        baseline=change_told(report.since_baseline, side),
        relative_percent=relative.value if relative else None,
        relative_error=relative.error if relative else None,
        is_sudden_rise=Caution.SUDDEN_RISE in report.cautions,
        both_rose=Caution.BOTH_ROSE in report.cautions,
        points=tuple(points(course, side, is_excess=compared is not None)),
    )


def told(report: SessionReport) -> Side | None:
    """The affected side; without one that of the larger rise in percent, then of more volume."""
    changes = {side: own_change(report.since_previous, side) for side in Side}
    rises = [
        ((change.percent or 0) if (change := changes[side]) else 0, volume.ml, side)
        for side, volume, _ in report.limbs
    ]
    return report.affected_side or (max(rises)[2] if rises else None)


def own_change(since: Since | None, side: Side | None) -> Change | None:
    if since is None or side is None:
        return None
    return {Side.LEFT: since.left, Side.RIGHT: since.right}[side]


def change_told(since: Since | None, side: Side | None) -> ChangeTold | None:
    change = (since.excess if since else None) or own_change(since, side)
    if since is None or change is None:
        return None
    return ChangeTold(since.taken_on, change.change_ml, change.error_ml, change.direction)


def points(course: LimbCourse, side: Side | None, *, is_excess: bool) -> list[tuple[date, float]]:
    limbs = [
        (each.taken_on, each.left if side is Side.LEFT else each.right) for each in course.points
    ]
    if side is None:
        return []
    if is_excess:
        return [(each.taken_on, ml) for each in course.points if (ml := each.excess_ml) is not None]
    return [(on, limb.volume_ml) for on, limb in limbs if limb]


@pytest.mark.parametrize("seed", range(6))
def test_standings_are_those_of_the_reports_to_the_last_place(cast: Cast, seed: int) -> None:
    random, ways = Random(seed), protocols()
    episodes = [taped_episode(random, cast.therapist, ways) for _ in range(25)]
    episodes.append(taped_episode(random, cast.therapist, ways, most=MOST_POINTS + 8))
    own = by_limb(episodes)
    found = reckoned_standings([each.pk for each in episodes])
    assert found.keys() == own.keys()
    for key, standing in found.items():
        assert standing == expected(own[key])


def test_the_number_of_queries_does_not_grow(cast: Cast) -> None:
    random, ways = Random(1), protocols()
    for number in (1, 12):
        keys = [taped_episode(random, cast.therapist, ways).pk for _ in range(number)]
        with CaptureQueriesContext(connection) as queries:
            reckoned_standings(keys)
        assert len(queries) == 3


def test_an_episode_never_taped_stands_nowhere(cast: Cast) -> None:
    assert reckoned_standings([make_episode(make_client(), cast.therapist).pk]) == {}
