"""A plan of care as typed, and the rules it must keep. Pure."""

from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from clinic.common.errors import RuleBroken
from clinic.visits.goal_measures import Judged
from clinic.visits.goals import Aim
from clinic.visits.plan_errors import (
    GoalUnfit,
    PeriodTooLong,
    PlanDayWrong,
    TargetMissing,
    TooManyGoals,
)

# So that all fit on the one page that is signed; common practice, no source.
MOST_GOALS = 6


@dataclass(frozen=True)
class GoalTyped:
    """One goal. Numbers are in the unit of what it is judged by."""

    text: str
    judged: Judged
    due_on: date
    baseline: Decimal | None = None
    target: Decimal | None = None


@dataclass(frozen=True)
class PlanTyped:
    """One plan of care; both days of the period belong to it."""

    from_on: date
    to_on: date
    visits_a_week: int
    weeks: int
    treatment: str
    outlook: str = ""
    goals: tuple[GoalTyped, ...] = ()

    @property
    def days(self) -> int:
        """Calendar days of the period, the first being day 1."""
        return (self.to_on - self.from_on).days + 1


def check_plan(typed: PlanTyped, *, opened_on: date, certified_days: int) -> None:
    """Raise the first rule broken: PlanDayWrong, PeriodTooLong, TooManyGoals, GoalUnfit.

    `opened_on` is the episode's first day, `certified_days` the longest period certified at once.
    """
    if typed.from_on < opened_on:
        raise PlanDayWrong("from_on", must="not_before_episode", limit=opened_on)
    if typed.to_on <= typed.from_on:
        raise PlanDayWrong("to_on", must="after_start", limit=typed.from_on)
    if typed.days > certified_days:
        raise PeriodTooLong(
            days=typed.days,
            most_days=certified_days,
            last_on=typed.from_on + timedelta(days=certified_days - 1),
        )
    if len(typed.goals) > MOST_GOALS:
        raise TooManyGoals(MOST_GOALS)
    for place, goal in enumerate(typed.goals):
        _check_goal(place, goal, typed.from_on)


def _check_goal(place: int, goal: GoalTyped, from_on: date) -> None:
    try:
        check_goal(goal, from_on=from_on)
    except RuleBroken as error:
        raise GoalUnfit(place, error) from error


def check_goal(goal: GoalTyped, *, from_on: date) -> None:
    """Raise PlanDayWrong, TargetMissing, TargetIsBaseline or ValueAbsurd."""
    if goal.due_on < from_on:
        raise PlanDayWrong("due_on", must="not_before_start", limit=from_on)
    if goal.judged.is_measured and goal.target is None:
        raise TargetMissing
    goal.judged.check("baseline", goal.baseline)
    goal.judged.check("target", goal.target)
    if goal.baseline is not None and goal.target is not None:
        Aim(float(goal.baseline), float(goal.target))
