"""The database itself keeps plans of care: what is signed stays, what cannot be is refused."""

from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction

from clinic.visits.plans import PlanOfCare
from clinic.visits.services import plans as keeping
from clinic.visits.services.goals import Reviewed, review_goal
from clinic.visits.words import GoalStatus
from tests.builders import today
from tests.cast import Cast
from tests.clinic.visits.plan_stories import arm_episode, certified, draft, signed

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _quick_print(monkeypatch: pytest.MonkeyPatch) -> None:
    """The page is laid out in test_plan_pdf; here it would cost a second a test."""
    monkeypatch.setattr(keeping, "check_fits", lambda sheet: None)


def run(sql: str, *values: Any) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(sql, values)


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE visits_planofcare SET treatment = 'other'",
        "UPDATE visits_planofcare SET signed_at = NULL, signed = NULL, seal = ''",
        "UPDATE visits_planofcare SET seal = repeat('1', 64)",
        "UPDATE visits_planofcare SET certified_on = certified_on - 1",
        "UPDATE visits_planofcare SET certified_by = 'Somebody else'",
        "DELETE FROM visits_planofcare",
        "TRUNCATE visits_planofcare CASCADE",
        "UPDATE visits_goal SET target = 1",
        "DELETE FROM visits_goal",
        "INSERT INTO visits_goal (plan_id, place, text, measure, instrument, due_on)"
        " SELECT id, 9, 'One more', 'told', '', current_date FROM visits_planofcare",
        "UPDATE visits_goalreview SET status = 'met'",
        "DELETE FROM visits_goalreview",
    ],
)
def test_a_signed_and_certified_plan_refuses_raw_sql(cast: Cast, sql: str) -> None:
    plan = certified(arm_episode(cast.therapist))
    goal = plan.goals.all()[0]
    review_goal(goal=goal, reviewed=Reviewed(GoalStatus.OPEN, today()), by=cast.therapist)
    with pytest.raises(DatabaseError):
        run(sql)


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE visits_planofcare SET to_on = from_on",
        "UPDATE visits_planofcare SET visits_a_week = 0",
        "UPDATE visits_planofcare SET weeks = 53",
        "UPDATE visits_planofcare SET certified_by = 'Dr. X', certified_on = current_date",
        "UPDATE visits_planofcare SET signed_at = now()",
        "UPDATE visits_goal SET measure = 'guess'",
        "UPDATE visits_goal SET target = NULL WHERE measure = 'excess_percent'",
        "UPDATE visits_goal SET instrument = 'dash' WHERE measure = 'told'",
    ],
)
def test_a_draft_that_cannot_be_is_refused_by_the_database(cast: Cast, sql: str) -> None:
    draft(arm_episode(cast.therapist))
    with pytest.raises(DatabaseError):
        run(sql)


def test_one_plan_is_in_force_and_one_is_drafted_in_the_database(cast: Cast) -> None:
    signed(arm_episode(cast.therapist))
    columns = [field.column for field in PlanOfCare._meta.concrete_fields]
    copied = ["gen_random_uuid()" if name == "id" else name for name in columns]
    copied = ["number + 1" if name == "number" else name for name in copied]
    names, values = ", ".join(columns), ", ".join(copied)
    with pytest.raises(DatabaseError, match="one_plan_in_force"):
        run(f"INSERT INTO visits_planofcare ({names}) SELECT {values} FROM visits_planofcare")
