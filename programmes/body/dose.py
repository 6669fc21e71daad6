"""How often and how long: the clinic's default counts, each with the ranges of its sources.

Ranges called `leaflets` come from the published home drainage leaflets; ranges called `taught` are
what is commonly taught ("eight to ten circles an area, about five passes a finger, four to
five breaths"): common practice, no source. A count inside either is accepted.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import cached_property

from programmes.body.errors import DoseOutOfRange

# Source: MDA (cancer centre, arm), "about 2"; range 2 to 3 seconds.
SECONDS_PER_STRETCH = 2.0
# Common practice, no source: one slow breath in and out, and the time to settle the hand.
SECONDS_PER_BREATH = 8.0
SECONDS_TO_SETTLE = 5.0
# Common practice, no source: one long stroke from the hand or the foot to the trunk.
SECONDS_PER_LONG_STROKE = 6.0
# Sources: LEG, GEN 15 to 20 min; NI 15 min; WOOD 20 min.
SESSION_MIN = (15, 20)


@dataclass(frozen=True)
class Range:
    """An inclusive range of counts, as a source gives it."""

    low: int
    high: int

    def __str__(self) -> str:
        return f"{self.low} to {self.high}"


@dataclass(frozen=True)
class Count:
    """A default count and both ranges. Raises DoseOutOfRange if the default lies in neither."""

    default: int
    leaflets: Range | None
    taught: Range | None
    source: str

    def __post_init__(self) -> None:
        if not self.allowed.low <= self.default <= self.allowed.high:
            raise DoseOutOfRange(
                self.source, count=self.default, low=self.allowed.low, high=self.allowed.high
            )

    @cached_property
    def allowed(self) -> Range:
        """The smallest range that holds both; a count outside is too few or too many."""
        ranges = [span for span in (self.leaflets, self.taught) if span is not None]
        return Range(min(span.low for span in ranges), max(span.high for span in ranges))


CIRCLES_TAUGHT = Range(8, 10)  # common practice, no source
LONG_STROKES_TAUGHT = Range(4, 5)  # common practice, no source: "four to five times"


@dataclass(frozen=True)
class Dose:
    """The clinic's settings: repetitions at each place, and how often a day.

    A clinic replaces single counts with `dataclasses.replace`. Counts are whole repetitions.
    """

    # Sources: LEG, GEN, NI 5; RBR 3. Taught: 4 to 5.
    breaths: Count = Count(5, Range(3, 5), Range(4, 5), "LEG, GEN, NI; RBR")
    # Sources: LEG 10; NI, RBA 5; MDA 15.
    neck: Count = Count(10, Range(5, 15), CIRCLES_TAUGHT, "LEG; NI; RBA; MDA")
    # Sources: LEG, NI, RBA 5; MDA 15.
    collarbone_hollow: Count = Count(5, Range(5, 15), CIRCLES_TAUGHT, "LEG, NI, RBA; MDA")
    # Sources: LEG, GEN, NI, RBR 10; RBA, NZ 5; MDA 15.
    basin: Count = Count(10, Range(5, 15), CIRCLES_TAUGHT, "LEG, GEN, NI, RBR; RBA, NZ; MDA")
    # Sources: RBR 5 to 10; RBA, NZ 5.
    trunk_strip: Count = Count(5, Range(5, 10), CIRCLES_TAUGHT, "RBR; RBA, NZ")
    # Sources: RBA 5; MDA 15.
    limb_width: Count = Count(5, Range(5, 15), CIRCLES_TAUGHT, "RBA; MDA")
    # Common practice, no source: "about five passes", read as 4 to 6.
    finger_passes: Count = Count(5, None, Range(4, 6), "common practice, no source")
    # Common practice, no source.
    sweep: Count = Count(5, None, Range(3, 10), "common practice, no source")
    # Common practice, no source: across the chest and down the side "four to five times".
    bridge_again: Count = Count(5, None, LONG_STROKES_TAUGHT, "common practice, no source")
    # Sources: NI daily; LEG, GEN, WOOD twice.
    times_a_day: Count = Count(1, Range(1, 2), Range(1, 1), "NI; LEG, GEN, WOOD")
    seconds_per_stretch: float = SECONDS_PER_STRETCH

    def counts(self) -> dict[str, Count]:
        """Every count by its name, for a settings page."""
        found = {setting.name: getattr(self, setting.name) for setting in fields(self)}
        return {name: count for name, count in found.items() if isinstance(count, Count)}


DEFAULT_DOSE = Dose()


def dose_with(counts: Mapping[str, int]) -> Dose:
    """The default dose with other default counts, by name. Raises DoseOutOfRange."""
    known = DEFAULT_DOSE.counts()
    own = {
        name: replace(known[name], default=count) for name, count in counts.items() if name in known
    }
    return replace(DEFAULT_DOSE, **own)


# Common practice, no source: "eight to ten circles an area"; the lower end keeps the session short.
CIRCLES_AN_AREA = 8
TAUGHT_DOSE = replace(
    DEFAULT_DOSE,
    neck=replace(DEFAULT_DOSE.neck, default=CIRCLES_AN_AREA),
    collarbone_hollow=replace(DEFAULT_DOSE.collarbone_hollow, default=CIRCLES_AN_AREA),
    basin=replace(DEFAULT_DOSE.basin, default=CIRCLES_AN_AREA),
    trunk_strip=replace(DEFAULT_DOSE.trunk_strip, default=CIRCLES_AN_AREA),
    limb_width=replace(DEFAULT_DOSE.limb_width, default=CIRCLES_AN_AREA),
)
