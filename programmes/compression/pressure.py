"""Sub-bandage pressure in mmHg by the published formula, and its gradient up a limb.

Girths, widths and levels in cm, pull in kilogram-force (kgf), pressures in mmHg, all unrounded.
The number is an estimate of the mean pressure on a round limb, never a measured pressure.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import isfinite

from clinic.common.vocabulary import Word
from programmes.compression.errors import NotAboveZero

# P(mmHg) = 4620 N T(kgf) / (C(cm) W(cm)): S. Thomas, World Wide Wounds, 2002, revised 2003 (inputs
# and limits read there; the constant from memory, not re-read, but it follows from 2 pi x
# 9.80665 N/kgf x 10000 cm2/m2 / 133.322 Pa/mmHg = 4621.7, rounded).
FORMULA_CONSTANT = 4620.0
FORMULA_SOURCE = "S. Thomas, World Wide Wounds, 2002, revised 2003"

# Above this a warning is due; common practice, no source.
HIGH_MMHG = 60.0
# A girth below this has so small a radius that the formula rises steeply; common practice, no
# source.
SMALL_GIRTH_CM = 15.0

# Layers that one bandage makes: half overlap 2, two-thirds overlap 3, two bandages with half
# overlap 4; common practice, no source.
LAYERS_IN_WORDS = {
    1: "1: no overlap",
    2: "2: half overlap",
    3: "3: two-thirds overlap",
    4: "4: two bandages, half overlap",
    6: "6: three bandages, half overlap",
    8: "8: four bandages, half overlap",
}
MOST_LAYERS = 8


class Grade(Word):
    """Pressure grades: international compression consensus 2008; from memory, not re-read."""

    MILD = "mild", "mild"
    MODERATE = "moderate", "moderate"
    STRONG = "strong", "strong"
    VERY_STRONG = "very_strong", "very strong"


# Where a grade begins, mmHg: mild < 20, moderate 20 to 40, strong 40 to 60, very strong > 60.
# International compression consensus 2008; from memory, not re-read. On which side 20 and 40 lie
# is not stated: counted to the higher grade here; exactly 60 is still strong.
MODERATE_MMHG, STRONG_MMHG, VERY_STRONG_MMHG = 20.0, 40.0, 60.0


def grade(pressure_mmhg: float) -> Grade:
    """The grade of a pressure in mmHg."""
    if pressure_mmhg > VERY_STRONG_MMHG:
        return Grade.VERY_STRONG
    if pressure_mmhg >= STRONG_MMHG:
        return Grade.STRONG
    return Grade.MODERATE if pressure_mmhg >= MODERATE_MMHG else Grade.MILD


@dataclass(frozen=True)
class Bandage:
    """One bandage as applied: its material in the therapist's words, width in cm, pull in kgf.

    `layers` counts how many times it lies over a place; `from_cm` and `to_cm` are the levels it
    reaches, None: to the end of what was taped.
    """

    material: str
    width_cm: float
    tension_kgf: float
    layers: int
    from_cm: float | None = None
    to_cm: float | None = None

    def covers(self, level_cm: float) -> bool:
        """Whether it reaches a level in cm; both ends count as covered."""
        begins = self.from_cm is None or level_cm >= self.from_cm
        return begins and (self.to_cm is None or level_cm <= self.to_cm)


def bandage_pressure(*, girth_cm: float, width_cm: float, tension_kgf: float, layers: int) -> float:
    """Mean pressure in mmHg of one bandage on a limb of this girth, all above 0.

    Raises NotAboveZero. Error: reads higher than sensors everywhere, see LIMITS; no numeric error
    is known that would hold for one limb. Source: FORMULA_SOURCE.
    """
    _require_positive(girth_cm=girth_cm, width_cm=width_cm, tension_kgf=tension_kgf, layers=layers)
    return FORMULA_CONSTANT * layers * tension_kgf / (girth_cm * width_cm)


def pressure_at(level_cm: float, girth_cm: float, bandages: Iterable[Bandage]) -> float | None:
    """Summed pressure in mmHg of all bandages that cover a level; None where none does.

    Bandages one over another add up, as the formula adds layers of one bandage; their thickness
    is ignored as in the formula. Raises NotAboveZero.
    """
    over = [each for each in bandages if each.covers(level_cm)]
    if not over:
        return None
    return sum(
        bandage_pressure(
            girth_cm=girth_cm,
            width_cm=each.width_cm,
            tension_kgf=each.tension_kgf,
            layers=each.layers,
        )
        for each in over
    )


class Concern(Word):
    """What is to be looked at again; the label is the sentence beside the station."""

    RISES = "rises", "Higher than the station below it."
    HIGH = "high", "Above 60 mmHg."
    SMALL_GIRTH = (
        "small_girth",
        "Girth under 15 cm: so small a radius raises the pressure, so pad it.",
    )
    BARE = "bare", "No bandage here, between bandaged stations."


@dataclass(frozen=True)
class Station:
    """One tape position: level and girth in cm, pressure in mmHg (None: no bandage here)."""

    level_cm: float
    girth_cm: float
    pressure_mmhg: float | None
    concerns: tuple[Concern, ...] = ()

    @property
    def grade(self) -> Grade | None:
        return None if self.pressure_mmhg is None else grade(self.pressure_mmhg)


@dataclass(frozen=True)
class Gradient:
    """The pressures up a limb, far end first."""

    stations: tuple[Station, ...]

    @property
    def is_graduated(self) -> bool:
        """Whether anything is bandaged, and no pressure rises going up."""
        return bool(self.pressed) and not self.having(Concern.RISES)

    @property
    def pressed(self) -> tuple[Station, ...]:
        return tuple(each for each in self.stations if each.pressure_mmhg is not None)

    @property
    def highest_mmhg(self) -> float | None:
        return max((each.pressure_mmhg or 0 for each in self.pressed), default=None)

    def having(self, concern: Concern) -> tuple[Station, ...]:
        """The stations with a concern."""
        return tuple(each for each in self.stations if concern in each.concerns)


def gradient(girths: Iterable[tuple[float, float]], bandages: Sequence[Bandage]) -> Gradient:
    """Pressures at each (level, girth) in cm, sorted up the limb, each with its concerns.

    Raises NotAboveZero. Any rise from one bandaged station to the next is a concern; common
    practice, no source.
    """
    bare = [
        Station(level, girth, pressure_at(level, girth, bandages))
        for level, girth in sorted(girths)
    ]
    rising = set(_rising(bare))
    between = set(_bare_between(bare))
    return Gradient(
        tuple(
            Station(
                each.level_cm,
                each.girth_cm,
                each.pressure_mmhg,
                tuple(_concerns(each, rising=at in rising, bare=at in between)),
            )
            for at, each in enumerate(bare)
        )
    )


def _concerns(station: Station, *, rising: bool, bare: bool) -> Iterator[Concern]:
    pressure_mmhg = station.pressure_mmhg
    if rising:
        yield Concern.RISES
    if pressure_mmhg is not None and pressure_mmhg > HIGH_MMHG:
        yield Concern.HIGH
    if pressure_mmhg is not None and station.girth_cm < SMALL_GIRTH_CM:
        yield Concern.SMALL_GIRTH
    if bare:
        yield Concern.BARE


def _rising(stations: Sequence[Station]) -> Iterator[int]:
    """Where the pressure is above that of the bandaged station next below."""
    pressed = [
        (at, each.pressure_mmhg)
        for at, each in enumerate(stations)
        if each.pressure_mmhg is not None
    ]
    for (_, below_mmhg), (at, mmhg) in pairwise(pressed):
        if mmhg > below_mmhg:
            yield at


def _bare_between(stations: Sequence[Station]) -> Iterator[int]:
    pressed = [at for at, each in enumerate(stations) if each.pressure_mmhg is not None]
    for low, high in pairwise(pressed):
        yield from range(low + 1, high)


def _require_positive(**values: float) -> None:
    for name, value in values.items():
        if not (isfinite(value) and value > 0):
            raise NotAboveZero(name, value)


@dataclass(frozen=True)
class Limit:
    """Where the formula stops being true, in one sentence, and who found it."""

    sentence: str
    source: str


CAUTION = (
    "An estimate, not a measured pressure: what is safe for this limb is for the licensed clinician"
    " and local rules to decide; check colour, warmth, feeling and movement before the client"
    " leaves."
)

# Read in abstracts unless marked; every one says that the true pressure is the lower one.
LIMITS = (
    Limit(
        "Sensors read lower than the formula everywhere, most above the ankle (42 % lower, 47"
        " volunteers).",
        "J Wound Care 2021;30:276",
    ),
    Limit(
        "Ignoring the thickness of four components overstates by 19 % or more at a girth of 25 cm.",
        "Glasgow Caledonian University, impact of multilayered compression bandages on"
        " sub-bandage interface pressure",
    ),
    Limit(
        "Resting pressure fell by 24 % within four hours of bandaging.",
        "J Wound Management 24(3), two-layer bandage with continuous monitoring",
    ),
    Limit(
        "It takes the limb as round and gives the mean: bone edges get more, hollows less.",
        "from the law of Laplace; common practice, no source",
    ),
)
