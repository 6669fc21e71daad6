"""Girths of invented limbs: a plain shape, a swelling laid over it, the wobble of a tape. Pure.

No volume enters: a story says how much wider a limb is at its widest swelling, never how many
millilitres it holds, so the program's own arithmetic is not run backwards.

Shape   girths at a few places of an average body, a cosine curve between them, times the
        client's build and the square root of the change in body weight.
Swelling   percent of girth, at its full height in one place and fading to `FLOOR` of it away
        from there; straight lines in time between the days that the story names.
Tape    one pull of the hand for a whole session, another error for each girth, then read to the
        millimetre or to an eighth of an inch.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from math import cos, exp, pi, sqrt
from random import Random

from clinic.common.vocabulary import Limb, Sex, Side

# Level in cm -> girth in cm of an average woman: wrist 15.0, forearm 23.6, upper arm 27.8; ankle
# 21.1, calf 34.9, knee 35.0, thigh 56.4 (medians, `bdims`, Heinz et al., J Stat Educ 2003;11(2)).
# Where along the limb each lies, and the girths between them: common practice, no source.
PLACES: dict[Limb, list[tuple[float, float]]] = {
    Limb.ARM: [(0, 15.4), (4, 16.4), (18, 23.6), (24, 23.2), (36, 27.8), (50, 29.0)],
    Limb.LEG: [(8, 23.0), (13, 21.1), (32, 34.9), (40, 32.6), (46, 35.0), (76, 56.4), (90, 58)],
}
# Medians of men over those of women, same table: forearm 28.4 / 23.6, calf 37.3 / 34.9.
MEN = {Limb.ARM: 1.18, Limb.LEG: 1.06}

# Where a swelling may be widest (cm from the zero mark) and how far it reaches; invented.
SWELLINGS = {
    "forearm": (13.0, 12.0),
    "elbow": (23.0, 13.0),
    "upper arm": (33.0, 12.0),
    "ankle": (15.0, 14.0),
    "calf": (28.0, 14.0),
    "thigh": (62.0, 18.0),
    "whole": (20.0, 500.0),
}
FLOOR = 0.35

# The lower end of 0.2 to 0.5 cm for a trained rater: from memory, not re-read.
INDEPENDENT_CM = 0.2
SHARED_CM = 0.05

INCH_CM = Decimal("2.54")
MILLIMETRE = Decimal("0.1")

Knots = Sequence[tuple[float, float]]


@dataclass(frozen=True)
class Body:
    """An invented limb pair: build (1 is average), where it swells, what its client weighs.

    `weight_kg` and each side's `swelling_percent` are (day, value) pairs, days before today.
    """

    limb: Limb
    sex: Sex
    build: float
    place: str
    weight_kg: Knots
    swelling_percent: dict[Side, Knots] = field(default_factory=dict)


def between(knots: Knots, where: float) -> float:
    """The value at `where`: straight between knots, level before the first and after the last."""
    right = bisect_right([knot for knot, _ in knots], where)
    if right in {0, len(knots)}:
        return knots[min(right, len(knots) - 1)][1]
    (low, below), (high, above) = knots[right - 1], knots[right]
    return below + (above - below) * (where - low) / (high - low)


def true_girth_cm(body: Body, side: Side, level_cm: float, day: float) -> float:
    """The girth in cm that a perfect tape would read on a day."""
    grown = sqrt(between(body.weight_kg, day) / body.weight_kg[0][1])
    swelling = between(body.swelling_percent.get(side, [(0, 0)]), day) / 100
    return _shape_cm(body, level_cm) * grown * (1 + swelling * _spread(body.place, level_cm))


def taped_girths_cm(
    body: Body, levels_cm: Sequence[float], *, day: int, seed: str, in_inches: bool = False
) -> dict[Side, list[Decimal]]:
    """What the tape read on a day, each side, in the order of the levels, in cm.

    The same seed and day give the same girths.
    """
    chance = Random(f"{seed} {day}")  # noqa: S311 - a story, not a secret
    pull_cm = chance.gauss(0, SHARED_CM)
    read = _read_eighths if in_inches else _read_millimetres
    return {
        side: [
            read(true_girth_cm(body, side, level, day) + pull_cm + chance.gauss(0, INDEPENDENT_CM))
            for level in levels_cm
        ]
        for side in Side
    }


def _shape_cm(body: Body, level_cm: float) -> float:
    places = PLACES[body.limb]
    right = min(max(bisect_right([level for level, _ in places], level_cm), 1), len(places) - 1)
    (low, below), (high, above) = places[right - 1], places[right]
    eased = (1 - cos(pi * (level_cm - low) / (high - low))) / 2
    man = MEN[body.limb] if body.sex is Sex.MALE else 1
    return body.build * man * (below + (above - below) * eased)


def _spread(place: str, level_cm: float) -> float:
    centre_cm, reach_cm = SWELLINGS[place]
    return FLOOR + (1 - FLOOR) * exp(-(((level_cm - centre_cm) / reach_cm) ** 2))


def _read_millimetres(girth_cm: float) -> Decimal:
    return Decimal(girth_cm).quantize(MILLIMETRE)


def _read_eighths(girth_cm: float) -> Decimal:
    eighths = round(Decimal(girth_cm) / INCH_CM * 8)
    return (Decimal(eighths) / 8 * INCH_CM).quantize(Decimal("0.01"))
