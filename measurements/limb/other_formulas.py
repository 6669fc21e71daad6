"""Other published volume formulas, kept to check against print and never mixed with ours.

Each gives another number for the same girths: a disc sum over all girths covers one slice more
than the truncated cones between them. Never compare across methods.
"""

from collections.abc import Sequence
from itertools import pairwise
from math import pi

from measurements.limb.units import Millilitres, require_positive


def disc_volume(*, girth_cm: float, height_cm: float) -> Millilitres:
    """Volume in mL of one slice from one girth, h C^2 / (4 pi). Raises LengthNotPositive.

    Source: disc model, Kaulesar Sukul et al., J Biomed Eng 1993;15:477-480; from memory, not
    re-read.
    """
    require_positive(girth_cm=girth_cm, height_cm=height_cm)
    return Millilitres(height_cm * girth_cm**2 / (4 * pi))


def disc_sum(girths_cm: Sequence[float], *, height_cm: float) -> Millilitres:
    """Sum of one slice a girth, mL: n girths make n slices. Source: as `disc_volume`."""
    slices = (disc_volume(girth_cm=girth_cm, height_cm=height_cm) for girth_cm in girths_cm)
    return Millilitres(sum(slices))


def end_area_sum(girths_cm: Sequence[float], *, height_cm: float) -> Millilitres:
    """Average of end areas, mL, h (C1^2 + C2^2) / (8 pi) a segment. Raises LengthNotPositive.

    Exceeds the truncated cone by h (C1 - C2)^2 / (24 pi).
    Source: average-end-area form, larsendr.github.io/cubicvolume.html.
    """
    areas = [_area_cm2(girth_cm) for girth_cm in girths_cm]
    return Millilitres(height_cm * sum(low + high for low, high in pairwise(areas)) / 2)


def mean_girth_sum(girths_cm: Sequence[float], *, height_cm: float) -> Millilitres:
    """Cylinder of the mean girth, mL, h (C1 + C2)^2 / (16 pi) a segment. LengthNotPositive.

    Falls short of the truncated cone by h (C1 - C2)^2 / (48 pi); geometry.
    """
    means = ((low + high) / 2 for low, high in pairwise(girths_cm))
    return Millilitres(height_cm * sum(_area_cm2(mean_cm) for mean_cm in means))


def hand_prismoid(
    *, wrist_cm: tuple[float, float], knuckles_cm: tuple[float, float], height_cm: float
) -> Millilitres:
    """Hand as a solid with rectangular ends, each (width, thickness) in cm; mL.

    h/6 (w1 t1 + w2 t2 + (w1 + w2)(t1 + t2)); raises LengthNotPositive. Source: geometry
    (prismoid); its use for a hand, Mayrovitz et al., Lymphology 2006;39:95-103, title only.
    """
    (w1, t1), (w2, t2) = wrist_cm, knuckles_cm
    require_positive(wrist_width_cm=w1, wrist_thickness_cm=t1, height_cm=height_cm)
    require_positive(knuckle_width_cm=w2, knuckle_thickness_cm=t2)
    return Millilitres(height_cm / 6 * (w1 * t1 + w2 * t2 + (w1 + w2) * (t1 + t2)))


def _area_cm2(girth_cm: float) -> float:
    """Area of the circle of this girth."""
    require_positive(girth_cm=girth_cm)
    return girth_cm**2 / (4 * pi)
