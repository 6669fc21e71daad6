"""Girths and ratios usual in healthy active adults: facts computed from published data.

Source: body measurements of 507 physically active adults (247 men, 260 women), most aged 18 to
40: Heinz, Peterson, Johnson and Kerk, Journal of Statistics Education 11(2), 2003. The table
of people (data set "bdims", GPL-3 in the packages that carry it) is not here: only percentiles
computed from it, which are facts. numpy.percentile, linear, rounded to 0.01 cm; 0.5 and 99.5 %.

A swollen, obese or frail limb lies outside: ask, never refuse.
"""

from dataclasses import dataclass

from clinic.common.vocabulary import Limb, Sex


@dataclass(frozen=True)
class Range:
    """From the 0.5 to the 99.5 percentile, or any other span, ends included."""

    low: float
    high: float

    def holds(self, value: float) -> bool:
        return self.low <= value <= self.high


# cm, by sex: the thin end of the limb (wrist, ankle; smallest girth there).
THIN_END: dict[Limb, dict[Sex, Range]] = {
    Limb.ARM: {
        Sex.MALE: Range(15.02, 19.58),
        Sex.FEMALE: Range(13.13, 17.74),
        Sex.NOT_SAID: Range(13.2, 19.5),
    },
    Limb.LEG: {
        Sex.MALE: Range(19.23, 27.7),
        Sex.FEMALE: Range(18.05, 25.5),
        Sex.NOT_SAID: Range(18.16, 27.7),
    },
}

# cm, by sex: the thick end (upper arm flexed; thigh under the gluteal fold).
THICK_END: dict[Limb, dict[Sex, Range]] = {
    Limb.ARM: {
        Sex.MALE: Range(27.11, 42.3),
        Sex.FEMALE: Range(23.13, 36.6),
        Sex.NOT_SAID: Range(23.2, 41.29),
    },
    Limb.LEG: {
        Sex.MALE: Range(47.22, 69.42),
        Sex.FEMALE: Range(48.59, 71.62),
        Sex.NOT_SAID: Range(47.64, 70.0),
    },
}

# Largest girth of the lower half over the thin end: forearm / wrist, calf / ankle; both sexes.
LOWER_OVER_THIN: dict[Limb, Range] = {
    Limb.ARM: Range(1.443, 1.818),
    Limb.LEG: Range(1.411, 1.867),
}

# Largest girth of the upper half over that of the lower half: upper arm / forearm, thigh / calf.
UPPER_OVER_LOWER: dict[Limb, Range] = {
    Limb.ARM: Range(1.077, 1.362),
    Limb.LEG: Range(1.345, 1.866),
}
