"""What the fields of a new plan begin with. Plain Python: the record is given."""

from datetime import date, timedelta
from typing import Any

from clinic.common.vocabulary import Phase
from clinic.visits.goal_measures import Judged
from clinic.visits.plans import PlanOfCare
from clinic.visits.selectors.goal_values import Values
from clinic.visits.words import GoalMeasure

# Visits a week and weeks; common practice, no source.
USUAL: dict[Phase, tuple[int, int]] = {
    Phase.INTENSIVE: (5, 4),
    Phase.MAINTENANCE: (1, 12),
    Phase.SURVEILLANCE: (1, 1),
}


def usual_plan(
    on: date, *, phase: Phase, certified_days: int, before: PlanOfCare | None
) -> dict[str, Any]:
    """From today for as long as one certification reaches; the rest as in the plan before."""
    visits_a_week, weeks = USUAL.get(phase, USUAL[Phase.INTENSIVE])
    shown = {
        "from_on": on,
        "to_on": on + timedelta(days=certified_days - 1),
        "visits_a_week": before.visits_a_week if before else visits_a_week,
        "weeks": before.weeks if before else weeks,
    }
    if before:
        shown |= {"treatment": before.treatment, "outlook": before.outlook}
    return shown


def usual_goal(on: date, *, weeks: int, values: Values) -> dict[str, Any]:
    """The first row of a first plan: the excess in percent, from where it was last measured."""
    judged = Judged(GoalMeasure.EXCESS_PERCENT)
    latest = values.get(judged.written)
    if latest is None:
        return {}
    return {
        "judged": judged.written,
        "baseline": judged.rounded(latest.value),
        "due_on": on + timedelta(weeks=weeks),
    }
