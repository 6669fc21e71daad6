"""What became of the excess in an intensive phase, and what surveillance found early. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from clinic.common.vocabulary import Word
from clinic.overview.report_period import Period
from measurements.limb.comparison import Comparison, Judged, Verdict, excess_change
from measurements.limb.ratios import excess_reduction
from measurements.limb.thresholds import RULES, Criterion

# What counts as an early change under surveillance; its source stands in the rule.
EARLY_RULE = RULES[Criterion.SURVEILLANCE_3_PERCENT]


class Outcome(Word):
    """What the first and the last taping of an intensive phase say."""

    FELL = "fell", "excess fell beyond measurement error"
    NOT_FALLEN = "not_fallen", "excess did not fall beyond measurement error"
    NO_CLEAR_EXCESS = "no_clear_excess", "no clear excess at the start"
    NOT_COMPARABLE = "not_comparable", "not taped twice with both limbs"


@dataclass(frozen=True)
class Reduced:
    """One limb in one intensive phase; `percent` of the excess at its start, None if undefined."""

    outcome: Outcome
    percent: float | None = None


NOT_COMPARED = Reduced(Outcome.NOT_COMPARABLE)


def reduced(*, first: Comparison, last: Comparison) -> Reduced:
    """The reduction of the excess between two sessions compared over one stretch.

    Undefined unless the excess at the start is above zero beyond its own measurement error: a
    percentage of next to nothing says nothing. Sources: `excess_reduction`, `excess_change`.
    """
    if first.verdict is not Verdict.BEYOND_ERROR_UP:
        return Reduced(Outcome.NO_CLEAR_EXCESS)
    fell = excess_change(last, first).verdict is Verdict.BEYOND_ERROR_DOWN
    percent = excess_reduction(before_ml=first.excess_ml, after_ml=last.excess_ml)
    return Reduced(Outcome.FELL if fell else Outcome.NOT_FALLEN, percent)


class Detection(Word):
    """What a period's tapings under surveillance say of one limb."""

    NEW = "new", "above 3 % for the first time, beyond measurement error"
    NEW_WITHIN = "new_within", "above 3 % for the first time, within measurement error"
    KNOWN = "known", "above 3 %, as before the period"
    NONE = "none", "not above 3 %"
    NOT_JUDGED = "not_judged", "cannot be judged"


@dataclass(frozen=True)
class Look:
    """One session under surveillance; `change` is RVC in percent since the baseline, if known."""

    taken_on: date
    change: Judged | None

    @property
    def is_above(self) -> bool:
        return self.change is not None and EARLY_RULE.is_met_by(self.change.value)


def detection(
    looks: Sequence[Look], period: Period, *, first_above_on: date | None
) -> Detection | None:
    """What the sessions of the period say of a limb; None without one in it.

    `first_above_on`: the first day of all on which the limb was above the limit.
    """
    within = [look for look in looks if period.holds(look.taken_on)]
    if not within:
        return None
    above = [look for look in within if look.is_above]
    if not above:
        judged = any(look.change for look in within)
        return Detection.NONE if judged else Detection.NOT_JUDGED
    if first_above_on is not None and first_above_on < period.from_on:
        return Detection.KNOWN
    is_clear = any(look.change and look.change.beyond_error for look in above)
    return Detection.NEW if is_clear else Detection.NEW_WITHIN
