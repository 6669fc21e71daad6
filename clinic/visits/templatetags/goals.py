"""Numbers of goals in the unit of what the goal is judged by."""

from typing import Any

from django import template

from clinic.common.templatetags.units import NOT_KNOWN, Number, level, ml, percent, score
from clinic.visits.goal_measures import Judged
from clinic.visits.words import GoalMeasure

register = template.Library()

WRITTEN: dict[GoalMeasure, Any] = {
    GoalMeasure.EXCESS_PERCENT: percent,
    GoalMeasure.EXCESS_ML: ml,
    GoalMeasure.RELATIVE_CHANGE: percent,
}


@register.filter
def in_measure(value: Number, judged: Judged) -> str:
    """18 -> 18.0 %; 155 -> 155°; a number that is told stays as it was typed."""
    if value is None:
        return NOT_KNOWN
    if judged.spec:
        return score(value, judged.spec)
    return str(WRITTEN.get(judged.measure, level)(value))
