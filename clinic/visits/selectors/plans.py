"""Reads of plans of care and their goals."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import Prefetch, QuerySet
from django.utils import timezone

from clinic.accounts import permits
from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.visits.goal_measures import Judged, judged_by
from clinic.visits.goals import Aim, GoalStanding, Measured, goal_standing, offered_status
from clinic.visits.plan_dates import PlanRules, PlanStanding, PlanWarning
from clinic.visits.plans import Goal, GoalReview, PlanOfCare
from clinic.visits.selectors.goal_values import GoalValue, Values, goal_values
from clinic.visits.selectors.plan_facts import plan_rules, plan_standing
from clinic.visits.words import GoalStatus
from measurements.report import SessionReport
from measurements.score_report import ScoreStanding

LATE = frozenset(
    {PlanWarning.REPORT_OVERDUE, PlanWarning.NOT_CERTIFIED, PlanWarning.CERTIFICATION_ENDED}
)
CLOSED = frozenset({GoalStatus.MET, GoalStatus.DROPPED})


@dataclass(frozen=True)
class GoalRow:
    """One goal with its last review and how the record says it stands.

    `value` is the latest measured value, or the reviewed one of a goal that is told; None without
    one. `standing` is None where there is no value, no baseline or no target.
    """

    goal: Goal
    number: str  # "2.1": never used again
    judged: Judged
    reviewed: GoalReview | None
    value: GoalValue | None
    standing: GoalStanding | None

    @property
    def status(self) -> GoalStatus:
        return GoalStatus(self.reviewed.status) if self.reviewed else GoalStatus.OPEN

    @property
    def is_closed(self) -> bool:
        return self.status in CLOSED

    def is_past_due(self, on: date) -> bool:
        """Still open after its day."""
        return self.status is GoalStatus.OPEN and self.goal.due_on < on

    def offered(self, on: date) -> GoalStatus:
        """The status to offer at a review; the therapist decides."""
        if self.standing is None:
            return self.status
        return offered_status(self.standing, due_on=self.goal.due_on, on=on)


@dataclass(frozen=True)
class PlanCard:
    """The plan of care of an episode on a day: what is in force, its goals, where it stands.

    `plan` is the signed plan in force, or the last one that was; `draft` the one being written;
    `plans` are all, latest first. `values` are the latest measured values by `Judged.written`.
    """

    on: date
    plans: tuple[PlanOfCare, ...]
    values: Values
    plan: PlanOfCare | None
    draft: PlanOfCare | None
    goals: tuple[GoalRow, ...]
    standing: PlanStanding
    rules: PlanRules

    @property
    def is_in_force(self) -> bool:
        return self.plan is not None and is_in_force(self.plan, self.on)

    @property
    def notices(self) -> tuple[tuple[PlanWarning, bool], ...]:
        """(what somebody should see to, whether it is late already)."""
        return tuple((warning, warning in LATE) for warning in self.standing.warnings)

    @property
    def past_due(self) -> tuple[GoalRow, ...]:
        return tuple(row for row in self.goals if row.is_past_due(self.on))


def plans_for(user: User) -> QuerySet[PlanOfCare]:
    """The plans this person may see, with episode, client and people joined."""
    if not permits.may(user, "plans.see"):
        return PlanOfCare.objects.none()
    return PlanOfCare.objects.select_related(
        "episode__client",
        "episode__therapist",
        "episode__referrer",
        "written_by",
        "certified_noted_by",
        "ended_by",
    )


def goals_for(user: User) -> QuerySet[Goal]:
    """The goals this person may see, with plan, episode and client joined."""
    if not permits.may(user, "plans.see"):
        return Goal.objects.none()
    return Goal.objects.select_related("plan__episode__client")


def plans_of(episode: Episode) -> list[PlanOfCare]:
    """An episode's plans with goals and reviews, latest first. Three queries."""
    return list(_with_goals(episode.plans.select_related("written_by")))


def _with_goals(plans: QuerySet[PlanOfCare]) -> QuerySet[PlanOfCare]:
    reviews = Prefetch("reviews", GoalReview.objects.select_related("reviewed_by"))
    return plans.prefetch_related(Prefetch("goals", Goal.objects.prefetch_related(reviews)))


def draft_of(episode: Episode) -> PlanOfCare | None:
    """The episode's one draft, if there is one. One query."""
    return episode.plans.filter(signed_at=None).first()


def is_in_force(plan: PlanOfCare, on: date) -> bool:
    """Signed, begun and not ended before the day; whether it is certified is another question."""
    begun = plan.signed_at is not None and plan.from_on <= on
    return begun and (plan.ended_on is None or plan.ended_on >= on)


def shown_plan(plans: Iterable[PlanOfCare], on: date) -> PlanOfCare | None:
    """Of plans, latest first: the one in force, else the last that was signed."""
    signed = [plan for plan in plans if plan.signed_at is not None]
    return next((plan for plan in signed if is_in_force(plan, on)), next(iter(signed), None))


def plan_card(
    episode: Episode,
    *,
    on: date | None = None,
    reports: Iterable[SessionReport] | None = None,
    scores: Iterable[ScoreStanding] | None = None,
) -> PlanCard:
    """What a page shows of an episode's plan of care, today or on a day.

    At most 14 queries: plans 3, standing 5, and 6 for measured values, which `reports` (the
    latest of each limb) and `scores` spare.
    """
    on = on or timezone.localdate()
    plans = tuple(plans_of(episode))
    plan = shown_plan(plans, on)
    values = goal_values(episode, reports=reports, scores=scores)
    rules = plan_rules()
    return PlanCard(
        on=on,
        plans=plans,
        values=values,
        plan=plan,
        draft=next((each for each in plans if each.signed_at is None), None),
        goals=goal_rows(plan, values) if plan else (),
        standing=plan_standing(episode, on, rules=rules),
        rules=rules,
    )


def goal_rows(plan: PlanOfCare, values: Values) -> tuple[GoalRow, ...]:
    """The goals of a plan with how they stand; goals and reviews must have been read."""
    return tuple(_goal_row(plan, goal, values) for goal in plan.goals.all())


def goal_row(goal: Goal) -> GoalRow:
    """One goal with how it stands: 2 queries, and 6 for the measured value."""
    plan = goal.plan
    return _goal_row(plan, goal, goal_values(plan.episode))


def _goal_row(plan: PlanOfCare, goal: Goal, values: Values) -> GoalRow:
    judged = judged_by(goal.measure, goal.instrument)
    reviewed = next(iter(list(goal.reviews.all())[-1:]), None)
    value = values.get(judged.written) if judged.is_measured else _told_value(reviewed)
    return GoalRow(
        goal=goal,
        number=f"{plan.number}.{goal.place + 1}",
        judged=judged,
        reviewed=reviewed,
        value=value,
        standing=_standing(goal, value),
    )


def _told_value(reviewed: GoalReview | None) -> GoalValue | None:
    if reviewed is None or reviewed.value is None:
        return None
    return GoalValue(Measured(float(reviewed.value)), reviewed.reviewed_on, "told at the review")


def _standing(goal: Goal, value: GoalValue | None) -> GoalStanding | None:
    if value is None or goal.baseline is None or goal.target is None:
        return None
    return goal_standing(Aim(float(goal.baseline), float(goal.target)), value.measured)
