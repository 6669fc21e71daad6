"""How far tape error reaches: from girths to a volume, a difference, a change, a percentage.

First-order propagation throughout: a small error in each girth times the slope of the result
in that girth. Checked against the `uncertainties` package and by simulation.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import hypot, pi, sqrt
from typing import Protocol

from clinic.common.vocabulary import Limb
from measurements.limb.errors import MixedMethod
from measurements.limb.units import Millilitres, require_positive

# Two-sided 95 % of a normal distribution, the factor of the published MDC and SRD:
# DOI 10.1089/lrb.2022.0032, SRD = 1.96 sqrt(2) SEM.
Z_95 = 1.96


@dataclass(frozen=True)
class TapeError:
    """Standard deviations in cm of one taped girth.

    `independent_cm` differs from station to station and from trial to trial, so it averages
    out; `shared_cm` is the pull of one hand on one day, the same at every station, so it does not.
    """

    independent_cm: float
    shared_cm: float


# A trained rater's girth: 0.2 to 0.5 cm, from memory, not re-read; 0.3 lies inside.
INDEPENDENT_CM = 0.3

# Intra-rater standard error of an arm volume: 0.82 %, Tidhar et al., J Pers Med 2015;5:341-353.
ARM_SEM_PERCENT = 0.82

# Standard error of a leg volume, the same rater two weeks apart: 1.2 to 1.4 %, DOI
# 10.1089/lrb.2022.0032 (n = 42); the middle. Tidhar 2015 prints 0.64 % within one session.
LEG_SEM_PERCENT = 1.3

# Derived: with 0.3 cm independent error the constructed 40 cm arm of 2217 mL (11 girths, 4 cm;
# check case "arm-4cm-affected") has 15.54 mL; 0.82 % of it is 18.18 mL. The rest, 9.44 mL in
# quadrature, at 165.9 mL per cm of a shift shared by all girths, is 0.0569 cm.
ARM_SHARED_CM = 0.0569

# Derived likewise from the constructed 68 cm leg of 8341 mL (18 girths, 4 cm; check case
# "leg-4cm-affected"): 30.39 mL independent, 1.3 % is 108.4 mL, the rest 104.1 mL at 414.2 mL
# per cm is 0.251 cm. Larger than the arm's because it is of two weeks, not of one session; it
# hardly enters the difference of two legs taped together, where it cancels.
LEG_SHARED_CM = 0.251

DEFAULT_TAPE_ERROR = TapeError(independent_cm=INDEPENDENT_CM, shared_cm=ARM_SHARED_CM)

# Give `tape=TAPE_ERRORS[limb]` where the limb is known; the default is the arm's.
TAPE_ERRORS: dict[Limb, TapeError] = {
    Limb.ARM: DEFAULT_TAPE_ERROR,
    Limb.LEG: TapeError(independent_cm=INDEPENDENT_CM, shared_cm=LEG_SHARED_CM),
}


# One standard deviation in kg of a body weight. A scale of class III with steps of 0.1 kg may be
# off by 0.2 kg in use between 50 and 200 kg: OIML R 76-1, from memory, not re-read. To take that
# limit for a standard deviation leaves some room for clothes; common practice, no source.
SCALE_ERROR_KG = 0.2


class Uncertain(Protocol):
    """A volume with its two kinds of standard error in mL, its section and its method."""

    @property
    def ml(self) -> float: ...

    @property
    def independent_error_ml(self) -> float: ...

    @property
    def shared_error_ml(self) -> float: ...

    @property
    def section(self) -> "Stretch": ...

    @property
    def method(self) -> str: ...


class Stretch(Protocol):
    """A stretch of the limb in cm from its zero mark."""

    @property
    def from_cm(self) -> float: ...

    @property
    def to_cm(self) -> float: ...


@dataclass(frozen=True)
class VolumeError:
    """Standard error of a volume in mL: in all, and its two parts."""

    error_ml: float
    independent_error_ml: float
    shared_error_ml: float


def mdc95(sem: float) -> float:
    """Minimal detectable change (95 %) between two measurements that each have this error.

    In the unit of `sem` (mL or percent): 1.96 sqrt(2) SEM. Source: DOI 10.1089/lrb.2022.0032.
    """
    return Z_95 * sqrt(2) * sem


def percent_of(value: float, whole: float) -> float:
    """A value (an error, a difference) in percent of a whole in the same unit, above 0."""
    require_positive(whole=whole)
    return 100 * value / whole


def segment_gradient(*, lower_cm: float, upper_cm: float, height_cm: float) -> tuple[float, float]:
    """Slope of a truncated cone's volume in its lower and in its upper girth, mL per cm.

    Source: derivative of the frustum in girths, h (2 C1 + C2) / (12 pi).
    """
    per_cm = height_cm / (12 * pi)
    return per_cm * (2 * lower_cm + upper_cm), per_cm * (lower_cm + 2 * upper_cm)


def segment_error(
    *, lower_cm: float, upper_cm: float, height_cm: float, tape: TapeError = DEFAULT_TAPE_ERROR
) -> VolumeError:
    """Standard error in mL of one segment taped once. Raises LengthNotPositive."""
    require_positive(lower_cm=lower_cm, upper_cm=upper_cm, height_cm=height_cm)
    slopes = segment_gradient(lower_cm=lower_cm, upper_cm=upper_cm, height_cm=height_cm)
    return volume_error(slopes, (1, 1), tape=tape)


def volume_error(
    gradient: Sequence[float], trials: Sequence[int], *, tape: TapeError = DEFAULT_TAPE_ERROR
) -> VolumeError:
    """Standard error in mL from the slopes (mL per cm) of a volume in each girth.

    The independent part of a girth falls with the square root of its trials; the shared part
    moves all girths together, so its slopes add before they count.
    """
    independent = tape.independent_cm * sqrt(
        sum(slope**2 / count for slope, count in zip(gradient, trials, strict=True))
    )
    shared = tape.shared_cm * abs(sum(gradient))
    return VolumeError(hypot(independent, shared), independent, shared)


def difference_error(a: Uncertain, b: Uncertain) -> Millilitres:
    """Standard error in mL of a - b for two limbs taped in the same session.

    One hand pulled the tape on both, so the shared parts cancel as far as they are alike; the
    independent parts add in quadrature. Raises MixedMethod.
    """
    require_alike(a, b)
    shared = a.shared_error_ml - b.shared_error_ml
    return Millilitres(hypot(a.independent_error_ml, b.independent_error_ml, shared))


def change_error(now: Uncertain, then: Uncertain) -> Millilitres:
    """Standard error in mL of now - then for one limb taped in two sessions.

    Sessions share nothing: another day's hand pulls anew, so all parts add in quadrature.
    Raises MixedMethod.
    """
    require_alike(now, then)
    parts = (v for each in (now, then) for v in (each.independent_error_ml, each.shared_error_ml))
    return Millilitres(hypot(*parts))


def ratio_error(a: Uncertain, b: Uncertain) -> float:
    """Relative standard error (1 = 100 %) of a / b for two limbs taped in the same session."""
    return hypot(
        a.independent_error_ml / a.ml,
        b.independent_error_ml / b.ml,
        a.shared_error_ml / a.ml - b.shared_error_ml / b.ml,
    )


def require_alike(*volumes: Uncertain) -> None:
    """Raise MixedMethod unless all volumes share the method and the section they cover."""
    methods = tuple(dict.fromkeys(volume.method for volume in volumes))
    sections = tuple(dict.fromkeys(_bounds(volumes)))
    if len(methods) > 1 or len(sections) > 1:
        raise MixedMethod(methods, sections)


def _bounds(volumes: Iterable[Uncertain]) -> Iterable[tuple[float, float]]:
    return ((volume.section.from_cm, volume.section.to_cm) for volume in volumes)
