"""Where plans stand, counted from the record, for one episode and for the recall list."""

from datetime import date, timedelta
from typing import Any

import pytest

from clinic.clients.models import PhaseChange
from clinic.common.vocabulary import Phase
from clinic.scheduling.words import RecallReason
from clinic.visits.goals import Certainty, Reach
from clinic.visits.lists import ChartingRules
from clinic.visits.models import VisitNote
from clinic.visits.plan_dates import PlanWarning
from clinic.visits.selectors.goal_values import goal_values
from clinic.visits.selectors.plan_facts import plan_standing, plans_due
from clinic.visits.selectors.plans import plan_card
from clinic.visits.services import plans as keeping
from clinic.visits.services.goals import Reviewed, review_goal
from clinic.visits.services.plans import end_plan
from clinic.visits.words import GoalStatus, VisitKind
from measurements.limb.instruments import Instrument
from measurements.models import OutcomeScore
from measurements.selectors.reports import latest_by_episode
from tests.builders import ARM_OTHER_CM, make_protocol, make_session, today
from tests.cast import Cast
from tests.clinic.visits.plan_stories import (
    arm_episode,
    certified,
    days_ago,
    draft,
    excess_goal,
    signed,
    taped_episode,
    told_goal,
    treated,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _quick_print(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keeping, "check_fits", lambda sheet: None)


def later(days: int) -> date:
    return today() + timedelta(days=days)


# Treatment days


def test_a_treatment_day_is_a_day_with_a_signed_treatment_or_an_evaluation(cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    treated(episode, days_ago(9), kind=VisitKind.EVALUATION, minutes=0)
    treated(episode, days_ago(8))
    treated(episode, days_ago(8))  # twice on one day: one treatment day
    treated(episode, days_ago(7), kind=VisitKind.REMEASUREMENT, minutes=0)  # nothing was treated
    by = cast.therapist
    VisitNote.objects.create(
        episode=episode,
        kind=VisitKind.EVALUATION,
        visited_on=days_ago(6),
        therapist=by,
        begun_by=by,
        edited_by=by,
    )  # not signed
    assert plan_standing(episode, today()).treatment_days == 2


def test_before_any_note_there_is_nothing_to_say(cast: Cast) -> None:
    found = plan_standing(arm_episode(cast.therapist), today())
    assert (found.treatment_days, found.certification, found.warnings) == (0, None, ())


def test_treatment_without_a_plan_is_told(cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    draft(episode)  # a draft certifies nothing
    treated(episode, days_ago(1))
    assert plan_standing(episode, today()).warnings == (PlanWarning.NO_PLAN,)


def test_the_report_is_due_with_the_treatment_day_the_clinic_set(cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    certified(episode, from_on=days_ago(20))
    for days in range(5):
        treated(episode, days_ago(days))
    assert PlanWarning.REPORT_DUE not in plan_standing(episode, today()).warnings
    ChartingRules.objects.create(report_every_days=5)
    assert PlanWarning.REPORT_DUE in plan_standing(episode, today()).warnings


def test_the_certification_ends_with_the_plan_and_the_next_one_settles_it(cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    certified(episode, from_on=days_ago(50), to_on=later(5))
    assert plan_standing(episode, today()).warnings == (PlanWarning.RECERTIFY_SOON,)
    signed(episode, from_on=later(6), to_on=later(60))
    assert plan_standing(episode, today()).warnings == ()
    assert PlanWarning.NOT_CERTIFIED in plan_standing(episode, later(40)).warnings


def test_a_plan_that_ran_out_is_told_and_one_that_was_ended_is_not(cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    plan = certified(episode, from_on=days_ago(50), to_on=days_ago(2))
    assert plan_standing(episode, today()).warnings == (PlanWarning.CERTIFICATION_ENDED,)
    end_plan(plan=plan, on=days_ago(3), by=cast.therapist)
    assert plan_standing(episode, today()).warnings == ()
    treated(episode, days_ago(1))  # but care went on
    assert PlanWarning.CERTIFICATION_ENDED in plan_standing(episode, today()).warnings


# Everybody


def test_who_is_due_is_found_over_all_open_episodes(cast: Cast) -> None:
    ending = certified(arm_episode(cast.therapist), from_on=days_ago(50), to_on=later(5)).episode
    due = certified(arm_episode(cast.therapist), from_on=days_ago(20)).episode
    for days in range(10):
        treated(due, days_ago(days))
    certified(arm_episode(cast.therapist))  # nothing is due
    found = plans_due(today())
    assert set(found) == {ending.client_id, due.client_id}
    (recall,) = found[ending.client_id]
    assert (recall.reason, recall.due_on) == (RecallReason.PLAN_ENDING, later(5))
    (recall,) = found[due.client_id]
    assert (recall.reason, recall.due_on, recall.count) == (
        RecallReason.PROGRESS_REPORT,
        today(),
        10,
    )


def test_a_discharged_episode_is_not_chased(cast: Cast) -> None:
    episode = certified(
        arm_episode(cast.therapist), from_on=days_ago(50), to_on=days_ago(2)
    ).episode
    assert episode.client_id in plans_due(today())
    PhaseChange.objects.create(
        episode=episode,
        phase=Phase.DISCHARGED,
        since_on=today(),
        reason="Done",
        by=cast.therapist,
    )
    assert plans_due(today()) == {}


def test_everybody_is_found_in_three_queries(cast: Cast, django_assert_num_queries: Any) -> None:
    for _ in range(3):
        episode = certified(arm_episode(cast.therapist), from_on=days_ago(30)).episode
        for days in range(3):
            treated(episode, days_ago(days))
    with django_assert_num_queries(3):
        plans_due(today())


def test_one_and_all_agree(cast: Cast) -> None:
    episode = certified(arm_episode(cast.therapist), from_on=days_ago(50), to_on=later(3)).episode
    for days in range(12):
        treated(episode, days_ago(days))
    standing = plan_standing(episode, today())
    recalls = plans_due(today())[episode.client_id]
    assert {recall.reason for recall in recalls} == {
        RecallReason.PROGRESS_REPORT,
        RecallReason.PLAN_ENDING,
    }
    assert standing.is_overdue
    assert recalls[0].due_on == standing.report.due_on


# The card


def test_the_card_shows_the_plan_in_force_with_its_goals(cast: Cast) -> None:
    episode = taped_episode(cast.therapist)
    plan = certified(episode)
    next_one = draft(episode, from_on=later(10))
    card = plan_card(episode)
    assert (card.plan, card.draft, card.is_in_force) == (plan, next_one, True)
    measured, told = card.goals
    assert (measured.number, measured.status) == ("1.1", GoalStatus.OPEN)
    assert measured.standing is not None
    assert measured.standing.reach is Reach.AWAY
    assert measured.standing.certainty is Certainty.WITHIN  # 20 % after 18 %
    assert not measured.standing.is_worse
    assert (told.value, told.standing) == (None, None)


def test_a_goal_far_beyond_error_is_met(cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    girths = [girth + 0.1 for girth in ARM_OTHER_CM]
    make_session(episode, make_protocol(), taken_on=today(), right_cm=girths)
    signed(episode)
    (row, _) = plan_card(episode).goals
    assert row.standing is not None
    assert row.standing.is_surely_met
    assert row.offered(today()) is GoalStatus.MET


def test_the_last_review_is_the_status_and_the_day_past_is_seen(cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    plan = signed(episode, from_on=days_ago(20), goals=(told_goal(due_on=days_ago(1)),))
    card = plan_card(episode)
    assert card.past_due == card.goals
    goal = plan.goals.get()
    for status in (GoalStatus.PARTLY, GoalStatus.MET):
        review_goal(goal=goal, reviewed=Reviewed(status, today()), by=cast.therapist)
    card = plan_card(episode)
    assert card.goals[0].status is GoalStatus.MET
    assert card.past_due == ()


def test_a_score_is_judged_by_what_its_instrument_errs_by(cast: Cast) -> None:
    # Smallest detectable change of DASH, 11.8: BMC Musculoskelet Disord 2017;18:248.
    episode = arm_episode(cast.therapist)
    for days, score in ((9, "50"), (0, "38.2")):
        OutcomeScore.objects.create(
            episode=episode,
            instrument=Instrument.DASH,
            scored_on=days_ago(days),
            score=score,
            scored_by=cast.therapist,
        )
    measured = goal_values(episode)["score:dash"].measured
    assert measured.value == pytest.approx(38.2)
    assert measured.change_limit == pytest.approx(11.8, abs=0.001)


def test_an_arm_and_a_leg_leave_the_value_to_the_therapist(cast: Cast) -> None:
    episode = taped_episode(cast.therapist)
    assert "excess_ml" in goal_values(episode)
    reports = latest_by_episode([episode])[episode.pk]
    assert goal_values(episode, reports=[*reports, *reports], scores=()) == {}


def test_the_card_takes_the_same_queries_whatever_there_is(
    cast: Cast, django_assert_max_num_queries: Any
) -> None:
    episode = taped_episode(cast.therapist)
    for count in (1, 6):
        plan = signed(episode, goals=(excess_goal(),) * count)
        for goal in plan.goals.all():
            said = Reviewed(GoalStatus.OPEN, today())
            review_goal(goal=goal, reviewed=said, by=cast.therapist)
        treated(episode, days_ago(count))
        with django_assert_max_num_queries(14):
            plan_card(episode)
