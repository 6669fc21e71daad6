"""Writes about goals: how one stands, told again as often as needed."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.visits.goal_measures import judged_by
from clinic.visits.plan_errors import NotSignedYet, PlanDayWrong, ReasonMissing
from clinic.visits.plans import Goal, GoalReview
from clinic.visits.words import GoalStatus


@dataclass(frozen=True)
class Reviewed:
    """How a goal was seen to stand on a day. `value` in the unit of what it is judged by."""

    status: GoalStatus
    reviewed_on: date
    value: Decimal | None = None
    remark: str = ""


@transaction.atomic
def review_goal(*, goal: Goal, reviewed: Reviewed, by: User) -> GoalReview:
    """Keep one review. Raises NotSignedYet, PlanDayWrong, ValueAbsurd, ReasonMissing."""
    plan = goal.plan
    if plan.signed_at is None:
        raise NotSignedYet
    _check_day(reviewed.reviewed_on, plan.from_on)
    judged_by(goal.measure, goal.instrument).check("value", reviewed.value)
    if reviewed.status is GoalStatus.DROPPED and not reviewed.remark:
        raise ReasonMissing
    review = GoalReview.objects.create(
        goal=goal,
        status=reviewed.status,
        value=reviewed.value,
        remark=reviewed.remark,
        reviewed_on=reviewed.reviewed_on,
        reviewed_by=by,
    )
    audit.record(by, "goal.reviewed", client=plan.episode.client, subject=goal)
    return review


def _check_day(reviewed_on: date, from_on: date) -> None:
    today = timezone.localdate()
    if reviewed_on > today:
        raise PlanDayWrong("reviewed_on", must="not_after_today", limit=today)
    if reviewed_on < from_on:
        raise PlanDayWrong("reviewed_on", must="not_before_start", limit=from_on)
