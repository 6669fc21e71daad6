"""One limb against the other, one date against another: each number with its own error.

Classify first, round last: every verdict is taken from unrounded values.
"""

from dataclasses import dataclass, replace
from math import hypot

from clinic.common.vocabulary import Word
from measurements.limb.error import (
    DEFAULT_TAPE_ERROR,
    SCALE_ERROR_KG,
    Z_95,
    TapeError,
    change_error,
    difference_error,
    mdc95,
    percent_of,
    ratio_error,
    require_alike,
)
from measurements.limb.errors import MixedProtocol, MixedSides, NoSharedSection
from measurements.limb.girth import LimbGirths
from measurements.limb.ratios import (
    excess_percent,
    relative_volume_change,
    weight_adjusted_change,
)
from measurements.limb.units import Centimetres, Millilitres
from measurements.limb.volume import Section, Volume, limb_volume

Weights = tuple[float | None, float | None]  # body weight in kg, (now, then); None: not taken

# Binary noise below a picometre is cut off, so that 20.3 - 18.3 is 2 and meets "2 cm"; no source.
NOISE_PLACES = 10


class Verdict(Word):
    """A difference or change set against its own measurement error, at 95 %."""

    BEYOND_ERROR_UP = "beyond_error_up", "larger, beyond measurement error"
    BEYOND_ERROR_DOWN = "beyond_error_down", "smaller, beyond measurement error"
    WITHIN_ERROR = "within_error", "within measurement error"

    @property
    def is_beyond_error(self) -> bool:
        return self is not Verdict.WITHIN_ERROR


def verdict(value: float, error: float) -> Verdict:
    """Whether a difference or change exceeds 1.96 of its own standard errors, same unit.

    Exactly at the limit is within error. Give unrounded values.
    Source of 1.96: DOI 10.1089/lrb.2022.0032.
    """
    if abs(value) <= Z_95 * error:
        return Verdict.WITHIN_ERROR
    return Verdict.BEYOND_ERROR_UP if value > 0 else Verdict.BEYOND_ERROR_DOWN


@dataclass(frozen=True)
class Judged:
    """A difference or change, its standard error, and the verdict; one unit throughout.

    `limit` is what the value was held against, 1.96 `error`: the smallest difference between
    these very measurements that counts as real, at 95 %.
    """

    value: float
    error: float

    @property
    def limit(self) -> float:
        return Z_95 * self.error

    @property
    def verdict(self) -> Verdict:
        return verdict(self.value, self.error)

    @property
    def beyond_error(self) -> bool:
        return self.verdict.is_beyond_error


class WeightSays(Word):
    """What body weight makes of a limb's own change; nothing where neither moved beyond error."""

    UNKNOWN = "unknown", "weight not taken into account"
    HOLDS = "holds", "also when adjusted for weight"
    FAILS = "fails", "but not when adjusted for weight"
    LARGER = "larger", "but larger when adjusted for weight"
    SMALLER = "smaller", "but smaller when adjusted for weight"


# What a weight-adjusted change adds where the tape saw none.
STEADY_BY_TAPE = {
    Verdict.BEYOND_ERROR_UP: WeightSays.LARGER,
    Verdict.BEYOND_ERROR_DOWN: WeightSays.SMALLER,
    Verdict.WITHIN_ERROR: None,
}


@dataclass(frozen=True)
class ByWeight:
    """A limb's own change beside that of body weight, for limbs that have no sound other limb.

    `weight_percent` is the change of weight, `adjusted` the weight-adjusted change (WAC) with its
    error, both in percent; both None where a weight is missing. Fluid of the limbs weighs as well,
    so that the adjusted change is the smaller one where both limbs lose or gain much of it.
    """

    weight_percent: float | None = None
    adjusted: Judged | None = None

    @property
    def is_known(self) -> bool:
        return self.adjusted is not None

    def says(self, taped: Verdict) -> WeightSays | None:
        """Set beside what the tape alone says; None where there is nothing to add."""
        if self.adjusted is None:
            return WeightSays.UNKNOWN if taped.is_beyond_error else None
        if not taped.is_beyond_error:
            return STEADY_BY_TAPE[self.adjusted.verdict]
        return WeightSays.HOLDS if self.adjusted.verdict is taped else WeightSays.FAILS

    def direction(self, taped: Verdict) -> Verdict:
        """Better or worse: only where tape and weight agree; the tape alone without a weight.

        That both must agree is the careful reading of the formula; common practice, no source.
        """
        return Verdict.WITHIN_ERROR if self.says(taped) is WeightSays.FAILS else taped


@dataclass(frozen=True)
class GirthDifference:
    """Affected minus other girth at one level, cm."""

    level_cm: float
    difference_cm: float


@dataclass(frozen=True)
class Comparison:
    """Two limbs of one session over the section both cover.

    `excess_ml` = affected - other; `excess_percent` = 100 excess / other; each with its standard
    error. `limit_ml` = 1.96 `excess_error_ml` is what the excess is held against for `verdict`
    and `beyond_error`. `mdc95_ml` = 1.96 sqrt(2) `excess_error_ml` is the smallest change of the
    excess from one session to another like it that counts as real.
    """

    affected: Volume
    other: Volume
    excess_ml: Millilitres
    excess_error_ml: Millilitres
    excess_percent: float
    excess_percent_error: float
    limit_ml: Millilitres
    mdc95_ml: Millilitres
    verdict: Verdict
    section: Section
    section_is_shorter: bool
    girth_differences: tuple[GirthDifference, ...]

    @property
    def beyond_error(self) -> bool:
        return self.verdict.is_beyond_error

    @property
    def largest_girth_difference(self) -> GirthDifference | None:
        """Where the affected limb exceeds the other most; None without a shared level."""
        return max(self.girth_differences, key=lambda each: each.difference_cm, default=None)


@dataclass(frozen=True)
class Change:
    """One quantity now against then, in mL, over one section, with its error and verdict.

    `percent` is the change in percent of then, None where then is not above 0. `mdc95_ml` =
    1.96 `error_ml`: the smallest change between these two sessions that counts as real. `verdict`
    is of the tape alone; `direction` also asks `by_weight`, which only bilateral disease has.
    """

    now_ml: Millilitres
    then_ml: Millilitres
    change_ml: Millilitres
    error_ml: Millilitres
    percent: float | None
    mdc95_ml: Millilitres
    verdict: Verdict
    section: Section
    section_is_shorter: bool = False
    by_weight: ByWeight | None = None

    @property
    def beyond_error(self) -> bool:
        return self.verdict.is_beyond_error

    @property
    def direction(self) -> Verdict:
        """Whether the limb is better or worse, as far as can be told."""
        return self.by_weight.direction(self.verdict) if self.by_weight else self.verdict

    @property
    def weight_says(self) -> WeightSays | None:
        return self.by_weight.says(self.verdict) if self.by_weight else None


def shared_section(*girths: LimbGirths) -> Section:
    """The stretch in cm that all limbs or dates were taped over.

    Raises NoSharedSection, or MixedProtocol when levels are counted from different zero marks.
    """
    zero_marks = dict.fromkeys(each.zero_mark for each in girths if each.zero_mark is not None)
    if len(zero_marks) > 1:
        raise MixedProtocol(tuple(zero_marks))
    section = Section(
        max(each.levels_cm[0] for each in girths), min(each.levels_cm[-1] for each in girths)
    )
    if section.length_cm <= 0:
        raise NoSharedSection(tuple(each.taped_cm for each in girths))
    return section


def is_shorter(section: Section, *girths: LimbGirths) -> bool:
    """Whether a section leaves out something that was taped on any of the limbs."""
    return any(each.taped_cm != (section.from_cm, section.to_cm) for each in girths)


def compare_limbs(
    affected: LimbGirths,
    other: LimbGirths,
    *,
    section: Section | None = None,
    tape: TapeError = DEFAULT_TAPE_ERROR,
) -> Comparison:
    """The affected limb against the other of the same session, over what both cover.

    `section` narrows it further, for a change across sessions. Raises MixedSides, MixedProtocol,
    NoSharedSection, SectionNotTaped, LengthNotPositive.
    """
    if affected.side == other.side:
        raise MixedSides((affected.side, other.side))
    section = section or shared_section(affected, other)
    volumes = [limb_volume(each, section=section, tape=tape) for each in (affected, other)]
    return comparison_of(
        *volumes,
        girth_differences=girth_differences(affected, other),
        section_is_shorter=is_shorter(section, affected, other),
    )


def comparison_of(
    affected: Volume,
    other: Volume,
    *,
    girth_differences: tuple[GirthDifference, ...] = (),
    section_is_shorter: bool = False,
) -> Comparison:
    """The excess of one volume over another of the same session. Raises MixedMethod."""
    excess_ml = Millilitres(affected.ml - other.ml)
    error_ml = difference_error(affected, other)
    return Comparison(
        affected=affected,
        other=other,
        excess_ml=excess_ml,
        excess_error_ml=error_ml,
        excess_percent=excess_percent(affected_ml=affected.ml, other_ml=other.ml),
        excess_percent_error=100 * affected.ml / other.ml * ratio_error(affected, other),
        limit_ml=Millilitres(Z_95 * error_ml),
        mdc95_ml=Millilitres(mdc95(error_ml)),
        verdict=verdict(excess_ml, error_ml),
        section=affected.section,
        section_is_shorter=section_is_shorter,
        girth_differences=girth_differences,
    )


def girth_differences(affected: LimbGirths, other: LimbGirths) -> tuple[GirthDifference, ...]:
    """Affected minus other in cm at each level taped on both."""
    others = dict(other)
    return tuple(
        GirthDifference(level, Centimetres(round(girth - others[level], NOISE_PLACES)))
        for level, girth in affected
        if level in others
    )


def change_since(
    now: LimbGirths,
    then: LimbGirths,
    *,
    tape: TapeError = DEFAULT_TAPE_ERROR,
    weights_kg: Weights | None = None,
) -> Change:
    """Change of one limb's volume between two sessions, over what both cover.

    `weights_kg` in bilateral disease, where weight has a say; None where a sound limb tells more.
    Raises MixedSides, MixedProtocol, NoSharedSection, LengthNotPositive.
    """
    if now.side != then.side:
        raise MixedSides((now.side, then.side))
    section = shared_section(now, then)
    is_now, was = (limb_volume(each, section=section, tape=tape) for each in (now, then))
    change = change_since_volumes(is_now, was, section_is_shorter=is_shorter(section, now, then))
    if weights_kg is None:
        return change
    errors_ml = (is_now.error_ml, was.error_ml)
    return replace(change, by_weight=by_weight((is_now.ml, was.ml), errors_ml, weights_kg))


def change_since_volumes(now: Volume, then: Volume, *, section_is_shorter: bool = False) -> Change:
    """Change between two volumes of one limb from two sessions. Raises MixedMethod."""
    return _change(
        (now.ml, then.ml),
        change_error(now, then),
        section=now.section,
        section_is_shorter=section_is_shorter,
    )


def excess_change(now: Comparison, then: Comparison) -> Change:
    """Change of the excess between two sessions compared over the same section.

    Sessions share nothing, so the errors of the two excesses add in quadrature.
    Raises MixedMethod: compare both sessions over `shared_section` of all four limbs first.
    """
    require_alike(now.affected, then.affected)
    return _change(
        (now.excess_ml, then.excess_ml),
        hypot(now.excess_error_ml, then.excess_error_ml),
        section=now.section,
        section_is_shorter=now.section_is_shorter or then.section_is_shorter,
    )


def _change(
    now_then_ml: tuple[float, float], error_ml: float, *, section: Section, section_is_shorter: bool
) -> Change:
    now_ml, then_ml = now_then_ml
    return Change(
        now_ml=Millilitres(now_ml),
        then_ml=Millilitres(then_ml),
        change_ml=Millilitres(now_ml - then_ml),
        error_ml=Millilitres(error_ml),
        percent=percent_of(now_ml - then_ml, then_ml) if then_ml > 0 else None,
        mdc95_ml=Millilitres(Z_95 * error_ml),
        verdict=verdict(now_ml - then_ml, error_ml),
        section=section,
        section_is_shorter=section_is_shorter,
    )


def relative_change_since(now: Comparison, baseline: Comparison) -> Judged:
    """RVC in percent between two sessions compared over one section, with its error.

    Raises MixedMethod. Source: `relative_volume_change`; first-order propagation.
    """
    require_alike(now.affected, baseline.affected)
    percent = relative_volume_change(
        a1_ml=baseline.affected.ml,
        u1_ml=baseline.other.ml,
        a2_ml=now.affected.ml,
        u2_ml=now.other.ml,
    )
    parts = (ratio_error(each.affected, each.other) for each in (now, baseline))
    return Judged(percent, (100 + percent) * hypot(*parts))


def by_weight(
    ml: tuple[float, float], error_ml: tuple[float, float], weights_kg: Weights
) -> ByWeight:
    """What body weight makes of one limb's change; each pair is (now, then).

    `error_ml` are standard errors; a weight has SCALE_ERROR_KG. Raises LengthNotPositive.
    Source: `weight_adjusted_change`; first-order propagation of four errors without correlation.
    """
    now_kg, then_kg = weights_kg
    if now_kg is None or then_kg is None:
        return ByWeight()
    percent = weight_adjusted_change(a1_ml=ml[1], w1_kg=then_kg, a2_ml=ml[0], w2_kg=now_kg)
    limbs = (error / value for error, value in zip(error_ml, ml, strict=True))
    scales = (SCALE_ERROR_KG / weight for weight in (now_kg, then_kg))
    judged = Judged(percent, (100 + percent) * hypot(*limbs, *scales))
    return ByWeight(percent_of(now_kg - then_kg, then_kg), judged)
