"""What a score and its change since baseline mean, by the limits in print.

A verdict is a number set against published limits, not a diagnosis: the licensed clinician judges.
"""

from dataclasses import dataclass

from clinic.common.vocabulary import Side, Word
from measurements.limb.instruments import Instrument, InstrumentSpec, Limit, Part
from measurements.limb.thresholds import (
    IMPEDANCE_DOMINANT_AT_RISK,
    IMPEDANCE_NONDOMINANT_AT_RISK,
    impedance_ratio_is_raised,
    reference_limits,
)

# Half of the last decimal that a score is kept with: a mean of thirds may be off by that much.
KEPT_TO = 0.0005


class Trend(Word):
    BETTER = "better", "better"
    WORSE = "worse", "worse"
    SAME = "same", "unchanged"


class Meaning(Word):
    """How a change compares with the limits that are known."""

    MATTERS = "matters", "matters"
    MAY_MATTER = "may_matter", "may matter, cannot be told from measurement error"
    REAL_ONLY = "real_only", "larger than measurement error"
    REAL_SMALL = "real_small", "larger than measurement error, smaller than what matters"
    WITHIN = "within", "within the smallest change"
    NOT_KNOWN = "not_known", "no smallest change is known"


# (reaches what matters, reaches beyond error) -> meaning; None: no such limit is known.
MEANINGS: dict[tuple[bool | None, bool | None], Meaning] = {
    (True, True): Meaning.MATTERS,
    (True, None): Meaning.MATTERS,
    (True, False): Meaning.MAY_MATTER,
    (False, True): Meaning.REAL_SMALL,
    (False, False): Meaning.WITHIN,
    (False, None): Meaning.WITHIN,
    (None, True): Meaning.REAL_ONLY,
    (None, False): Meaning.WITHIN,
    (None, None): Meaning.NOT_KNOWN,
}


@dataclass(frozen=True)
class ScoreVerdict:
    """A change since baseline in the instrument's unit, where it points and what it means."""

    change: float
    trend: Trend
    meaning: Meaning

    @property
    def is_certain(self) -> bool:
        """Whether it may be called better or worse: not within, not doubtful, not unknown."""
        return self.meaning in {Meaning.MATTERS, Meaning.REAL_ONLY, Meaning.REAL_SMALL}

    @property
    def words(self) -> str:
        """ "better: matters"; a change within the smallest change is not called either."""
        if self.trend is Trend.SAME or self.meaning is Meaning.WITHIN:
            return self.trend.label if self.trend is Trend.SAME else self.meaning.label
        return f"{self.trend.label}: {self.meaning.label}"


def verdict_of(
    score: float, baseline: float, *, spec: InstrumentSpec, part: Part | None
) -> ScoreVerdict:
    """The change from `baseline` to `score` against the instrument's limits; reaching one counts.

    Sources: each limit's own.
    """
    change, limits = score - baseline, spec.limits_for(part)
    reached = (
        _reaches(change, limits.matters, baseline),
        _reaches(change, limits.beyond_error, baseline),
    )
    return ScoreVerdict(change, _trend(change, spec), MEANINGS[reached])


def _reaches(change: float, limit: Limit | None, baseline: float) -> bool | None:
    return abs(change) >= limit.at(baseline) - KEPT_TO if limit else None


def _trend(change: float, spec: InstrumentSpec) -> Trend:
    if abs(change) <= KEPT_TO:
        return Trend.SAME
    return Trend.BETTER if (change > 0) is spec.higher_is_better else Trend.WORSE


# Mean + 3 SD of healthy people's ratio between the legs: Steele et al., n = 808.
LEG_RATIO_UPPER = reference_limits(mean=1.005, sd=0.072, k=3)[1]

# Local tissue water, mean + 3 SD of a compact device: Lymphology, journals.uair.arizona.edu
# lymph/19368 (hand 1.57, forearm 1.20, biceps 1.24).
TISSUE_WATER_UPPER = {Part.HAND: 1.57, Part.FOREARM: 1.20, Part.UPPER_ARM: 1.24}


@dataclass(frozen=True)
class RatioLimit:
    """A ratio's upper limit among healthy people. `limit` is None when it cannot be chosen."""

    limit: float | None
    is_above: bool | None
    source: str


def ratio_limit(
    instrument: Instrument, ratio: float, *, part: Part | None, dominant_at_risk: bool | None
) -> RatioLimit | None:
    """The limit for a bioimpedance or tissue water ratio; None for any other instrument.

    `dominant_at_risk` is None when the dominant hand is not recorded: an arm's impedance limit
    depends on it. Sources: DOI 10.1089/lrb.2010.0014; LEG_RATIO_UPPER; TISSUE_WATER_UPPER.
    """
    if instrument is Instrument.TISSUE_WATER and part in TISSUE_WATER_UPPER:
        upper = TISSUE_WATER_UPPER[part]
        return RatioLimit(upper, ratio > upper, "mean + 3 SD, compact device, lymph/19368")
    if instrument is not Instrument.IMPEDANCE:
        return None
    if part is Part.LEG:
        source = "mean + 3 SD of 808 healthy people, Steele et al."
        return RatioLimit(LEG_RATIO_UPPER, ratio > LEG_RATIO_UPPER, source)
    return _arm_impedance(ratio, dominant_at_risk)


def _arm_impedance(ratio: float, dominant_at_risk: bool | None) -> RatioLimit:
    source = "172 healthy women, DOI 10.1089/lrb.2010.0014"
    if dominant_at_risk is None:
        return RatioLimit(None, None, source)
    limit = IMPEDANCE_DOMINANT_AT_RISK if dominant_at_risk else IMPEDANCE_NONDOMINANT_AT_RISK
    is_above = impedance_ratio_is_raised(ratio, dominant_at_risk=dominant_at_risk)
    return RatioLimit(limit, is_above, source)


def dominant_at_risk(side: Side | None, dominant: Side | None) -> bool | None:
    """Whether the side at risk is the dominant one; None when either is not known."""
    return None if side is None or dominant is None else side is dominant
