"""Published ratios of volumes, in percent, as plain numbers without their errors.

Errors and verdicts: `measurements.limb.comparison`.
"""

from measurements.limb.error import percent_of
from measurements.limb.units import require_positive


def excess_percent(*, affected_ml: float, other_ml: float) -> float:
    """100 (affected - other) / other. Volumes in mL, above 0, else LengthNotPositive.

    Source: (limb of interest - other) / other, Lymphat Res Biol 2018;16:75-84.
    """
    require_positive(affected_ml=affected_ml, other_ml=other_ml)
    return percent_of(affected_ml - other_ml, other_ml)


def volume_change_percent(*, now_ml: float, baseline_ml: float) -> float:
    """100 (now - baseline) / baseline of one limb. Raises LengthNotPositive."""
    require_positive(now_ml=now_ml, baseline_ml=baseline_ml)
    return percent_of(now_ml - baseline_ml, baseline_ml)


def relative_volume_change(*, a1_ml: float, u1_ml: float, a2_ml: float, u2_ml: float) -> float:
    """RVC in percent: 100 ((A2 U1) / (U2 A1) - 1); 0 when both limbs grow alike.

    A treated side, U other side; 1 baseline, 2 now; mL, above 0, else LengthNotPositive.
    Source: Ancukiewicz et al., Int J Radiat Oncol Biol Phys 2011;79:1436-43. Built on another
    way of measuring: applied to tape volumes it carries tape error as well.
    """
    require_positive(a1_ml=a1_ml, u1_ml=u1_ml, a2_ml=a2_ml, u2_ml=u2_ml)
    return 100 * (a2_ml * u1_ml / (u2_ml * a1_ml) - 1)


def weight_adjusted_change(*, a1_ml: float, w1_kg: float, a2_ml: float, w2_kg: float) -> float:
    """WAC in percent: 100 ((A2 W1) / (W2 A1) - 1), for both sides treated.

    A limb in mL, W body weight in kg; 1 baseline, 2 now; above 0, else LengthNotPositive.
    Source: Miller et al., Lymphology 2013;46:64-74; from memory, not re-read.
    """
    require_positive(a1_ml=a1_ml, w1_kg=w1_kg, a2_ml=a2_ml, w2_kg=w2_kg)
    return 100 * (a2_ml * w1_kg / (w2_kg * a1_ml) - 1)


def excess_reduction(*, before_ml: float, after_ml: float) -> float | None:
    """Reduction of the excess over a course, percent of the excess before; may pass 100.

    None when there was no excess before: the percentage is then undefined. Never to be shown
    under one label with `whole_limb_reduction`. Source: Cochrane review CD003475.
    """
    if before_ml <= 0:
        return None
    return percent_of(before_ml - after_ml, before_ml)


def whole_limb_reduction(*, before_ml: float, after_ml: float) -> float:
    """Reduction of the whole affected limb, percent of its volume before. LengthNotPositive.

    Source: "parameter 2", EWMA-GNEAUPP 2014, studylib.net/doc/8396734.
    """
    require_positive(before_ml=before_ml, after_ml=after_ml)
    return percent_of(before_ml - after_ml, before_ml)
