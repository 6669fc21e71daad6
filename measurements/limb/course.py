"""The shape of an intensive phase: excess falling towards a plateau."""

from math import exp

from measurements.limb.units import Millilitres


def decongestion_curve(
    weeks: float, *, start_ml: float, plateau_ml: float, rate_per_week: float
) -> Millilitres:
    """Excess in mL after some weeks: plateau + (start - plateau) exp(-rate weeks).

    A shape to think with: no published fit of this model was found. No error of its own.
    """
    return Millilitres(plateau_ml + (start_ml - plateau_ml) * exp(-rate_per_week * weeks))
