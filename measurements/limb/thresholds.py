"""Published criteria, each shown with its source; severity bands; limits of other instruments.

Criteria disagree more than threefold at one year (ARMER_STEWART_2005): show several side by
side and name the one used. A met criterion is a number, not a diagnosis: the licensed
clinician and local rules decide.
"""

from dataclasses import dataclass

from clinic.common.vocabulary import Word
from measurements.limb.comparison import Comparison


class Mark(Word):
    """Whether the published page was read, or only remembered."""

    SEEN = "seen", "read in print"
    MEMORY = "memory", "from memory, not re-read"


class Criterion(Word):
    GIRTH_2CM = "girth_2cm", "girth difference of 2 cm or more at a level"
    VOLUME_200ML = "volume_200ml", "volume difference of 200 mL or more"
    EXCESS_5_PERCENT = "excess_5_percent", "excess volume above 5 %"
    EXCESS_10_PERCENT = "excess_10_percent", "excess volume of 10 % or more"
    SURVEILLANCE_3_PERCENT = "surveillance_3_percent", "more than 3 % above baseline"
    RVC_5_PERCENT = "rvc_5_percent", "relative volume change of 5 % or more"
    RVC_10_PERCENT = "rvc_10_percent", "relative volume change of 10 % or more"


class Need(Word):
    """What a criterion lacks when it cannot be evaluated."""

    OTHER_LIMB = "other_limb", "girths of the other limb"
    SHARED_LEVEL = "shared_level", "a level taped on both limbs"
    BASELINE = "baseline", "a baseline session of both limbs"


@dataclass(frozen=True)
class Rule:
    """A published limit: `strictly` above it, or at or above it; `unit` is cm, mL or %."""

    limit: float
    unit: str
    strictly: bool
    source: str
    mark: Mark

    def is_met_by(self, value: float) -> bool:
        return value > self.limit if self.strictly else value >= self.limit


_DETECTION = "Stanton 2000, in lymphedema-research.org/Detection.html"
_BANDS = "Eur J Breast Health 2022;18:148-154"
_STOUT = "Stout Gergich et al., Cancer 2008;112:2809-2819"
_SPECHT = "Specht et al., Breast Cancer Res Treat 2013;140:485-494"

RULES: dict[Criterion, Rule] = {
    # lymphedema-research.org/Detection.html; DOI 10.1089/lrb.2015.0011 (some use 2.5 cm).
    Criterion.GIRTH_2CM: Rule(2, "cm", False, "DOI 10.1089/lrb.2015.0011", Mark.SEEN),
    # Stanton 2000 in Detection.html; Br J Cancer s41416-020-0844-4.
    Criterion.VOLUME_200ML: Rule(200, "mL", False, _DETECTION, Mark.SEEN),
    # Subclinical band, above 5 %: Eur J Breast Health 2022;18:148-154.
    Criterion.EXCESS_5_PERCENT: Rule(5, "%", True, _BANDS, Mark.SEEN),
    # Stanton 2000 in Detection.html; Br J Cancer s41416-020-0844-4.
    Criterion.EXCESS_10_PERCENT: Rule(10, "%", False, _DETECTION, Mark.SEEN),
    # Surveillance trigger, above 3 % over baseline: Stout Gergich 2008.
    Criterion.SURVEILLANCE_3_PERCENT: Rule(3, "%", True, _STOUT, Mark.SEEN),
    # Low-level band, 5 to below 10 %, over 3 months after surgery: Specht 2013; from memory,
    # not re-read.
    Criterion.RVC_5_PERCENT: Rule(5, "%", False, _SPECHT, Mark.MEMORY),
    # Lymphedema band, 10 % and above: Specht 2013; from memory, not re-read.
    Criterion.RVC_10_PERCENT: Rule(10, "%", False, _SPECHT, Mark.MEMORY),
}


@dataclass(frozen=True)
class CriterionResult:
    """One criterion set against one value; `value` and `met` are None when it lacks `needs`."""

    criterion: Criterion
    value: float | None
    limit: float
    unit: str
    met: bool | None
    source: str
    needs: Need | None
    mark: Mark


def criteria(
    comparison: Comparison | None, *, relative_change_percent: float | None = None
) -> tuple[CriterionResult, ...]:
    """Every published criterion, evaluated on unrounded values or with what it needs.

    `comparison` is None without the other limb, `relative_change_percent` (RVC) without a
    baseline. Sources stand in RULES.
    """
    girth = comparison.largest_girth_difference if comparison else None
    excess_percent = comparison.excess_percent if comparison else None
    values: dict[Criterion, tuple[float | None, Need]] = {
        Criterion.GIRTH_2CM: (
            girth.difference_cm if girth else None,
            Need.SHARED_LEVEL if comparison else Need.OTHER_LIMB,
        ),
        Criterion.VOLUME_200ML: (comparison.excess_ml if comparison else None, Need.OTHER_LIMB),
        Criterion.EXCESS_5_PERCENT: (excess_percent, Need.OTHER_LIMB),
        Criterion.EXCESS_10_PERCENT: (excess_percent, Need.OTHER_LIMB),
        Criterion.SURVEILLANCE_3_PERCENT: (relative_change_percent, Need.BASELINE),
        Criterion.RVC_5_PERCENT: (relative_change_percent, Need.BASELINE),
        Criterion.RVC_10_PERCENT: (relative_change_percent, Need.BASELINE),
    }
    return tuple(evaluate(each, value, need) for each, (value, need) in values.items())


def evaluate(criterion: Criterion, value: float | None, need: Need) -> CriterionResult:
    """One criterion on one unrounded value in its unit; without a value, what it needs."""
    rule = RULES[criterion]
    return CriterionResult(
        criterion=criterion,
        value=value,
        limit=rule.limit,
        unit=rule.unit,
        met=None if value is None else rule.is_met_by(value),
        source=rule.source,
        needs=need if value is None else None,
        mark=rule.mark,
    )


class SeverityBand(Word):
    """ISL severity by excess volume; says nothing of the stage."""

    MINIMAL = "minimal", "minimal"
    MODERATE = "moderate", "moderate"
    SEVERE = "severe", "severe"


# ISL consensus documents 2013 (Lymphology 46:1-11), 2016, 2020: minimal >5 to <20 %, moderate
# 20-40 %, severe >40 %; from memory, not re-read. An older edition prints minimal as "<20 %".
MINIMAL_ABOVE_PERCENT = 5.0
MODERATE_FROM_PERCENT = 20.0
SEVERE_ABOVE_PERCENT = 40.0


@dataclass(frozen=True)
class Severity:
    """The band, if any, and why there is one or none."""

    band: SeverityBand | None
    because: str


def severity_band(excess_percent: float) -> SeverityBand | None:
    """ISL severity band of an unrounded percent excess; None up to and including 5 %.

    Source: ISL consensus, see MINIMAL_ABOVE_PERCENT. For one swollen limb with a sound other
    limb only: see `severity`.
    """
    if excess_percent > SEVERE_ABOVE_PERCENT:
        return SeverityBand.SEVERE
    if excess_percent >= MODERATE_FROM_PERCENT:
        return SeverityBand.MODERATE
    if excess_percent > MINIMAL_ABOVE_PERCENT:
        return SeverityBand.MINIMAL
    return None


def severity(excess_percent: float | None, *, is_bilateral: bool = False) -> Severity:
    """The ISL severity band, or why it does not apply: the other limb must be sound and taped.

    Source: measured as percent increase over the other limb, see `severity_band`.
    """
    if is_bilateral:
        return Severity(None, "both limbs are affected, so the other limb is no comparison")
    if excess_percent is None:
        return Severity(None, "the other limb was not taped")
    band = severity_band(excess_percent)
    if band is None:
        return Severity(None, "the excess does not exceed 5 %, the lower end of the bands")
    return Severity(band, f"percent excess over the other limb lies in the {band.label} band")


# NCI CTCAE v5.0, term "Edema limbs" (not "Lymphedema", which has no percentages): grade 1 5-10 %,
# grade 2 >10-30 %, grade 3 >30 %; Target Oncol 2022;17:597-604, table 3 (PMC9512730).
CTCAE_GRADE_1_FROM_PERCENT = 5.0
CTCAE_GRADE_2_ABOVE_PERCENT = 10.0
CTCAE_GRADE_3_ABOVE_PERCENT = 30.0


def ctcae_edema_limbs_grade(excess_percent: float) -> int | None:
    """The numeric part of the CTCAE v5.0 grade of "Edema limbs"; None below 5 %.

    The grade itself is the worst of number, appearance and function, which a clinician judges.
    The term names no base of the percentage: 100 (affected - other) / other is used here.
    """
    if excess_percent > CTCAE_GRADE_3_ABOVE_PERCENT:
        return 3
    if excess_percent > CTCAE_GRADE_2_ABOVE_PERCENT:
        return 2
    return 1 if excess_percent >= CTCAE_GRADE_1_FROM_PERCENT else None


class DominanceLimit(Word):
    """Which normal difference between limbs applies."""

    ARM_DOMINANT = "arm_dominant", "dominant arm affected"
    ARM_NONDOMINANT = "arm_nondominant", "other than dominant arm affected"
    LEG = "leg", "leg affected"


class DominanceBand(Word):
    NONE_MILD = "none/mild", "none or mild"
    MODERATE = "moderate", "moderate"
    SEVERE = "severe", "severe"


# Reference limits of the volume difference between limbs by DXA, percent: Lymphat Res Biol
# 2018;16:75-84 (167 arm, 196 leg patients). Below the first none/mild, above the second severe.
DXA_LIMITS_PERCENT: dict[DominanceLimit, tuple[float, float]] = {
    DominanceLimit.ARM_DOMINANT: (6, 10),
    DominanceLimit.ARM_NONDOMINANT: (0, 4),
    DominanceLimit.LEG: (3, 6),
}


def dominance_band(excess_percent: float, limit: DominanceLimit) -> DominanceBand:
    """Where a percent excess lies between the DXA limits. Source: DXA_LIMITS_PERCENT."""
    moderate_from, severe_above = DXA_LIMITS_PERCENT[limit]
    if excess_percent > severe_above:
        return DominanceBand.SEVERE
    return DominanceBand.MODERATE if excess_percent >= moderate_from else DominanceBand.NONE_MILD


# Impedance ratio (other / affected) raised above: DOI 10.1089/lrb.2010.0014, 172 healthy women.
IMPEDANCE_DOMINANT_AT_RISK = 1.134
IMPEDANCE_NONDOMINANT_AT_RISK = 1.106


def impedance_ratio_is_raised(ratio: float, *, dominant_at_risk: bool) -> bool:
    """Whether an arm impedance ratio lies strictly above its limit. DOI 10.1089/lrb.2010.0014."""
    limit = IMPEDANCE_DOMINANT_AT_RISK if dominant_at_risk else IMPEDANCE_NONDOMINANT_AT_RISK
    return ratio > limit


def reference_limits(*, mean: float, sd: float, k: float) -> tuple[float, float]:
    """mean - k SD and mean + k SD of healthy people, in the unit of the mean.

    k is 3 for impedance and most tissue-water ratios, 2 for leg-to-forearm ratios: Steele et
    al. (n = 808); Mayrovitz et al., Lymphology 2014;47:142-150; Lymphat Res Biol 2019;17:457-464.
    """
    return mean - k * sd, mean + k * sd


@dataclass(frozen=True)
class CriterionRate:
    """How many percent of one group met a criterion at 6 and at 12 months."""

    criterion: str
    at_6_months_percent: int
    at_12_months_percent: int


# Armer and Stewart, Lymphat Res Biol 2005;3:208-217, n = 118: the same people, four criteria.
ARMER_STEWART_2005 = (
    CriterionRate("200 mL", 24, 42),
    CriterionRate("10 % volume", 8, 21),
    CriterionRate("2 cm girth", 46, 70),
    CriterionRate("symptoms", 19, 40),
)


@dataclass(frozen=True)
class SurveillanceStudy:
    """What one surveillance programme found, mL and percent of the limb."""

    identified: int
    cohort: int
    threshold_percent: float
    onset_increase_ml: float
    onset_increase_percent: float
    reduction_ml: float
    reduction_percent: float
    mean_duration_weeks: float


# Stout Gergich et al., Cancer 2008;112:2809-2819, abstract.
STOUT_2008 = SurveillanceStudy(43, 196, 3, 83, 6.5, 48, 4.1, 4.4)
