"""Plans of care: typed under rules, signed once, certified from paper, never altered."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from clinic.audit.models import Entry
from clinic.common.print import NotPrinted, PrintFault
from clinic.visits import plan_errors as errors
from clinic.visits.goal_measures import every_score, judged_as, judged_by
from clinic.visits.lists import ChartingRules
from clinic.visits.plan_sheet import plan_sheet
from clinic.visits.plan_typed import GoalTyped
from clinic.visits.plans import Goal, GoalReview, PlanOfCare
from clinic.visits.seal import is_intact
from clinic.visits.selectors.plan_sheets import digest_of
from clinic.visits.services import plans as keeping
from clinic.visits.services.goals import Reviewed, review_goal
from clinic.visits.services.plans import (
    Certified,
    begin_plan,
    certify_plan,
    discard_plan,
    edit_plan,
    end_plan,
    sign_plan,
)
from clinic.visits.words import GoalMeasure, GoalStatus
from measurements.limb.instruments import Instrument
from tests.builders import today
from tests.cast import Cast
from tests.clinic.visits.plan_stories import (
    arm_episode,
    certified,
    days_ago,
    draft,
    excess_goal,
    make_practice,
    signed,
    told_goal,
    typed,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _quick_print(monkeypatch: pytest.MonkeyPatch) -> None:
    """The page is laid out in test_plan_pdf; here it would cost a second a test."""
    monkeypatch.setattr(keeping, "check_fits", lambda sheet: None)


def later(days: int) -> date:
    return today() + timedelta(days=days)


# Typing


def test_a_draft_keeps_what_was_typed_in_order(cast: Cast) -> None:
    plan = draft(arm_episode(cast.therapist))
    assert (plan.number, plan.visits_a_week, plan.weeks) == (1, 5, 4)
    assert [goal.text for goal in plan.goals.all()] == [excess_goal().text, told_goal().text]
    assert Entry.objects.filter(verb="plan.begun").count() == 1


def test_one_certification_may_be_used_to_its_last_day(cast: Cast) -> None:
    # 90 calendar days, the first being day 1: CMS Pub. 100-02, chapter 15, 220.1.3.
    plan = draft(arm_episode(cast.therapist), to_on=later(89))
    assert (plan.to_on - plan.from_on).days == 89


def test_a_period_longer_than_the_certification_is_refused_with_the_last_day(cast: Cast) -> None:
    with pytest.raises(errors.PeriodTooLong) as told:
        draft(arm_episode(cast.therapist), to_on=later(90))
    assert (told.value.days, told.value.most_days, told.value.last_on) == (91, 90, later(89))
    assert told.value.field == "to_on"


def test_the_clinic_may_set_a_shorter_certification(cast: Cast) -> None:
    ChartingRules.objects.create(certified_days=30)
    with pytest.raises(errors.PeriodTooLong):
        draft(arm_episode(cast.therapist), to_on=later(30))


@pytest.mark.parametrize(
    ("differences", "field"),
    [({"to_on": today()}, "to_on"), ({"from_on": date(2001, 1, 1)}, "from_on")],
)
def test_days_that_cannot_be_are_refused(
    cast: Cast, differences: dict[str, Any], field: str
) -> None:
    with pytest.raises(errors.PlanDayWrong) as told:
        draft(arm_episode(cast.therapist), **differences)
    assert told.value.field == field


@pytest.mark.parametrize(
    ("goal", "why", "field"),
    [
        (excess_goal(target=Decimal(18)), errors.TargetIsBaseline, "target"),
        (excess_goal(target=None), errors.TargetMissing, "target"),
        (excess_goal(target=Decimal(4000)), errors.ValueAbsurd, "target"),
        (excess_goal(baseline=Decimal(-95)), errors.ValueAbsurd, "baseline"),
        (excess_goal(due_on=today() - timedelta(days=1)), errors.PlanDayWrong, "due_on"),
        (
            excess_goal(judged=judged_as("score:dash"), target=Decimal(101)),
            errors.ValueAbsurd,
            "target",
        ),
    ],
)
def test_a_goal_that_cannot_be_is_refused_by_its_place(
    cast: Cast, goal: GoalTyped, why: type[Exception], field: str
) -> None:
    with pytest.raises(errors.GoalUnfit) as told:
        draft(arm_episode(cast.therapist), goals=(told_goal(), goal))
    assert told.value.place == 1
    assert isinstance(told.value.why, why)
    assert told.value.why.field == field
    assert not PlanOfCare.objects.exists()


def test_more_goals_than_a_page_holds_are_refused(cast: Cast) -> None:
    with pytest.raises(errors.TooManyGoals):
        draft(arm_episode(cast.therapist), goals=(told_goal(),) * 7)


def test_an_episode_has_one_draft(cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    first = draft(episode)
    with pytest.raises(errors.PlanDraftExists) as told:
        begin_plan(episode=episode, typed=typed(), by=cast.other_therapist)
    assert told.value.draft == first


def test_an_edit_replaces_words_and_goals(cast: Cast) -> None:
    plan = draft(arm_episode(cast.therapist))
    said = typed(treatment="Exercise only.", goals=(told_goal(text="Reaches a shelf"),))
    edit_plan(plan=plan, typed=said, seen=digest_of(plan), by=cast.therapist)
    plan.refresh_from_db()
    assert plan.treatment == "Exercise only."
    assert [goal.text for goal in Goal.objects.all()] == ["Reaches a shelf"]


def test_an_edit_upon_an_older_draft_is_refused_and_nothing_changes(cast: Cast) -> None:
    plan = draft(arm_episode(cast.therapist))
    seen = digest_of(plan)
    edit_plan(plan=plan, typed=typed(weeks=6), seen=seen, by=cast.other_therapist)
    with pytest.raises(errors.PlanChanged):
        edit_plan(plan=plan, typed=typed(weeks=8), seen=seen, by=cast.therapist)
    plan.refresh_from_db()
    assert plan.weeks == 6


def test_a_draft_may_be_discarded_and_a_signed_plan_not(cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    plan = signed(episode)
    with pytest.raises(errors.PlanKept):
        discard_plan(plan=plan, by=cast.therapist)
    next_one = draft(episode)
    discard_plan(plan=next_one, by=cast.therapist)
    assert list(PlanOfCare.objects.all()) == [plan]
    with pytest.raises(errors.PlanGone):
        discard_plan(plan=next_one, by=cast.therapist)


@pytest.mark.parametrize("judged", list(every_score()), ids=lambda judged: judged.written)
def test_every_score_is_written_into_its_column_and_read_back(judged: Any) -> None:
    assert judged_by(judged.measure, judged.instrument) == judged == judged_as(judged.written)
    assert len(judged.instrument) <= Goal._meta.get_field("instrument").max_length


def test_every_instrument_may_be_aimed_at() -> None:
    assert {judged.series.instrument for judged in every_score() if judged.series} == set(
        Instrument
    )


def test_a_measure_is_one_of_the_known_words() -> None:
    with pytest.raises(ValueError, match="guess"):
        judged_as("guess")
    assert judged_as("told").measure is GoalMeasure.TOLD


# Signing


def test_signing_seals_the_whole_content(cast: Cast) -> None:
    make_practice()
    plan = signed(arm_episode(cast.therapist))
    plan.refresh_from_db()
    assert plan.signature == "Theo Marsh, PT, DPT"
    assert is_intact(plan.signed, seal=plan.seal)
    sheet = plan_sheet(plan.signed)
    assert sheet.treatment == plan.treatment
    assert sheet.client["name"] == "Marguerite Ångström"
    assert [(goal.number, goal.target) for goal in sheet.goals] == [
        ("1.1", Decimal(10)),
        ("1.2", None),
    ]
    assert sheet.signature is not None
    assert sheet.signature.by == plan.signature
    tampered = plan.signed | {"plan": plan.signed["plan"] | {"weeks": 40}}
    assert not is_intact(tampered, seal=plan.seal)


def test_a_plan_without_a_goal_is_not_signed(cast: Cast) -> None:
    plan = draft(arm_episode(cast.therapist), goals=())
    with pytest.raises(errors.NoGoals):
        sign_plan(plan=plan, seen=digest_of(plan), by=cast.therapist)
    plan.refresh_from_db()
    assert plan.signed_at is None


def test_only_what_was_looked_at_is_signed(cast: Cast) -> None:
    plan = draft(arm_episode(cast.therapist))
    seen = digest_of(plan)
    edit_plan(plan=plan, typed=typed(weeks=9), seen=seen, by=cast.other_therapist)
    with pytest.raises(errors.PlanChanged):
        sign_plan(plan=plan, seen=seen, by=cast.therapist)


def test_who_needs_a_cosignature_does_not_sign_a_plan(cast: Cast) -> None:
    cast.therapist.needs_cosignature = True
    plan = draft(arm_episode(cast.therapist))
    with pytest.raises(errors.MayNotSignPlan):
        sign_plan(plan=plan, seen=digest_of(plan), by=cast.therapist)


def test_a_rule_made_stricter_since_is_kept_at_signing(cast: Cast) -> None:
    plan = draft(arm_episode(cast.therapist))
    ChartingRules.objects.create(certified_days=30)
    with pytest.raises(errors.PeriodTooLong):
        sign_plan(plan=plan, seen=digest_of(plan), by=cast.therapist)


def test_a_machine_that_cannot_print_can_still_sign(
    cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    def missing(_sheet: Any) -> None:
        raise NotPrinted(PrintFault.LIBRARY_MISSING)

    monkeypatch.setattr(keeping, "check_fits", missing)
    assert signed(arm_episode(cast.therapist)).signed_at


def test_the_next_plan_ends_the_one_in_force_the_day_before_it_begins(cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    first = signed(episode, from_on=days_ago(30), to_on=later(20))
    second = signed(episode, from_on=later(3), to_on=later(60))
    first.refresh_from_db()
    assert first.ended_on == later(2)
    assert first.ended_by == cast.therapist
    assert (second.number, second.ended_on) == (2, None)
    assert is_intact(first.signed, seal=first.seal)


def test_a_plan_corrected_on_its_first_day_ends_on_that_day(cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    first = signed(episode)
    signed(episode)
    first.refresh_from_db()
    assert first.ended_on == first.from_on


# Certification


def test_the_certification_is_noted_as_on_the_paper(cast: Cast) -> None:
    plan = certified(arm_episode(cast.therapist))
    plan.refresh_from_db()
    assert (plan.certified_by, plan.certified_on) == ("Odile Farrow, MD", today())
    assert plan.certified_noted_by == cast.therapist


def test_a_draft_is_not_certified(cast: Cast) -> None:
    plan = draft(arm_episode(cast.therapist))
    with pytest.raises(errors.NotSignedYet):
        certify_plan(plan=plan, certified=Certified("Dr. X", today()), by=cast.therapist)


@pytest.mark.parametrize(
    ("on", "must"), [(days_ago(1), "not_before_signing"), (later(1), "not_after_today")]
)
def test_a_certification_before_signing_or_to_come_is_refused(
    cast: Cast, on: date, must: str
) -> None:
    plan = signed(arm_episode(cast.therapist))
    with pytest.raises(errors.PlanDayWrong) as told:
        certify_plan(plan=plan, certified=Certified("Dr. X", on), by=cast.therapist)
    assert (told.value.field, told.value.must) == ("certified_on", must)


def test_a_certification_is_noted_once(cast: Cast) -> None:
    plan = certified(arm_episode(cast.therapist))
    with pytest.raises(errors.AlreadyCertified):
        certify_plan(plan=plan, certified=Certified("Dr. X", today()), by=cast.therapist)


def test_a_plan_is_ended_once_and_not_before_it_began(cast: Cast) -> None:
    plan = signed(arm_episode(cast.therapist), from_on=days_ago(5))
    with pytest.raises(errors.PlanDayWrong):
        end_plan(plan=plan, on=days_ago(6), by=cast.therapist)
    end_plan(plan=plan, on=today(), by=cast.therapist)
    with pytest.raises(errors.AlreadyEnded):
        end_plan(plan=plan, on=today(), by=cast.therapist)


# Goals reviewed


def test_a_goal_is_reviewed_as_often_as_needed(cast: Cast) -> None:
    goal = signed(arm_episode(cast.therapist)).goals.all()[0]
    for status, value in ((GoalStatus.OPEN, Decimal(14)), (GoalStatus.MET, Decimal(8))):
        review_goal(goal=goal, reviewed=Reviewed(status, today(), value), by=cast.therapist)
    assert [each.status for each in goal.reviews.all()] == ["open", "met"]
    assert Entry.objects.filter(verb="goal.reviewed").count() == 2


@pytest.mark.parametrize(
    ("reviewed", "why"),
    [
        (Reviewed(GoalStatus.MET, later(1)), errors.PlanDayWrong),
        (Reviewed(GoalStatus.MET, days_ago(1)), errors.PlanDayWrong),
        (Reviewed(GoalStatus.MET, today(), Decimal(9999)), errors.ValueAbsurd),
        (Reviewed(GoalStatus.DROPPED, today()), errors.ReasonMissing),
    ],
)
def test_a_review_that_cannot_be_is_refused(
    cast: Cast, reviewed: Reviewed, why: type[Exception]
) -> None:
    goal = signed(arm_episode(cast.therapist)).goals.all()[0]
    with pytest.raises(why):
        review_goal(goal=goal, reviewed=reviewed, by=cast.therapist)
    assert not GoalReview.objects.exists()


def test_a_goal_of_a_draft_is_not_reviewed(cast: Cast) -> None:
    goal = draft(arm_episode(cast.therapist)).goals.all()[0]
    with pytest.raises(errors.NotSignedYet):
        review_goal(goal=goal, reviewed=Reviewed(GoalStatus.MET, today()), by=cast.therapist)
