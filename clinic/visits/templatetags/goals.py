"""Numbers of goals in the unit of what the goal is judged by."""

from typing import Any

from django import template

from clinic.common.templatetags.units import (
    MINUS,
    NOT_KNOWN,
    THIN,
    Number,
    level,
    ml,
    percent,
    score,
)
from clinic.visits.goal_measures import Judged
from clinic.visits.goals import Certainty, GoalStanding
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


@register.filter
def progress(standing: GoalStanding) -> str:
    """53.5 -> "54 % of the way"; nothing for a change that measurement error may explain."""
    if standing.certainty is Certainty.WITHIN:
        return ""
    return f"{standing.progress_percent:.0f}{THIN}% of the way".replace("-", MINUS)
