"""Volumes from girths, each with its section, its standard error and the method that made it."""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import pi

from measurements.limb.error import (
    DEFAULT_TAPE_ERROR,
    TapeError,
    mdc95,
    percent_of,
    segment_gradient,
    volume_error,
)
from measurements.limb.errors import SectionNotTaped
from measurements.limb.girth import LimbGirths
from measurements.limb.units import Centimetres, Millilitres, require_positive

METHOD_NAME = "truncated cones between girths"
METHOD_VERSION = 1

# What every stored or sent volume names: another method's volume is not comparable.
METHOD = f"{METHOD_NAME}, version {METHOD_VERSION}"


# (station, weight) pairs.
Weights = tuple[tuple[int, float], ...]
# (level in cm, girth in cm, the stations it leans on) at each knot of a section.
Knots = Sequence[tuple[float, float, Weights]]


@dataclass(frozen=True)
class Section:
    """A stretch of the limb, cm from its zero mark; may begin and end between stations."""

    from_cm: float
    to_cm: float

    @property
    def length_cm(self) -> Centimetres:
        return Centimetres(self.to_cm - self.from_cm)


@dataclass(frozen=True)
class Volume:
    """Volume of one section of one limb in mL, with its standard error in mL.

    `error_ml` joins `independent_error_ml` (station by station) and `shared_error_ml` (the same
    pull at every station). The end (hand or foot) is never in it.
    """

    ml: Millilitres
    error_ml: Millilitres
    independent_error_ml: Millilitres
    shared_error_ml: Millilitres
    section: Section
    method: str = METHOD

    @property
    def error_percent(self) -> float:
        """Standard error in percent of the volume."""
        return percent_of(self.error_ml, self.ml)

    @property
    def mdc95_ml(self) -> Millilitres:
        """Smallest change between two sessions of like error that counts as real, at 95 %."""
        return Millilitres(mdc95(self.error_ml))


@dataclass(frozen=True)
class SegmentVolume:
    """Volume in mL between two neighbouring levels, for drawing."""

    section: Section
    ml: Millilitres


def segment_volume(*, lower_cm: float, upper_cm: float, height_cm: float) -> Millilitres:
    """Volume of the limb between two tape levels, taken as a truncated cone.

    Girths and height in cm, all above 0, else LengthNotPositive. Returns mL, unrounded.
    Error: a section that is not round holds less than the circle of equal girth, so this reads
    high; tape error is carried separately by `error.segment_error`.
    Source: frustum in girths, Gohil et al., Indian J Vasc Endovasc Surg 2018;5:259-265.
    """
    require_positive(lower_cm=lower_cm, upper_cm=upper_cm, height_cm=height_cm)
    girths = lower_cm**2 + lower_cm * upper_cm + upper_cm**2
    return Millilitres(height_cm * girths / (12 * pi))


@lru_cache(maxsize=512)  # a report asks several times for what each session of it holds
def limb_volume(
    girths: LimbGirths, *, section: Section | None = None, tape: TapeError = DEFAULT_TAPE_ERROR
) -> Volume:
    """Volume in mL of a limb over a section (None: all that was taped), with its error.

    Raises SectionNotTaped, LengthNotPositive. Source: sum of `segment_volume`.
    """
    section = section or taped_section(girths)
    knots = _girths_at_knots(girths, section)
    total = sum(_segments_ml(knots))
    error = volume_error(_gradient(knots, len(girths.levels_cm)), girths.trials, tape=tape)
    return Volume(
        ml=Millilitres(total),
        error_ml=Millilitres(error.error_ml),
        independent_error_ml=Millilitres(error.independent_error_ml),
        shared_error_ml=Millilitres(error.shared_error_ml),
        section=section,
    )


def segment_volumes(
    girths: LimbGirths, *, section: Section | None = None
) -> tuple[SegmentVolume, ...]:
    """Volume in mL of each segment of a section, distal first; ends may lie between stations.

    Raises SectionNotTaped, LengthNotPositive.
    """
    return _segments(_girths_at_knots(girths, section or taped_section(girths)))


def _segments(knots: Knots) -> tuple[SegmentVolume, ...]:
    sections = (Section(low, high) for (low, *_), (high, *_) in pairwise(knots))
    return tuple(map(SegmentVolume, sections, _segments_ml(knots)))


def _segments_ml(knots: Knots) -> Iterator[Millilitres]:
    for (low, lower_cm, _), (high, upper_cm, _) in pairwise(knots):
        yield segment_volume(lower_cm=lower_cm, upper_cm=upper_cm, height_cm=high - low)


def volume_gradient(girths: LimbGirths, *, section: Section | None = None) -> tuple[float, ...]:
    """Slope of the limb's volume in each taped girth, mL per cm, distal first.

    A section that ends between stations leans on the two stations around its end, in the
    proportion in which its girth does. Source: derivative of `segment_volume`, chain rule.
    """
    knots = _girths_at_knots(girths, section or taped_section(girths))
    return _gradient(knots, len(girths.levels_cm))


def _gradient(knots: Knots, stations: int) -> tuple[float, ...]:
    slopes = [0.0] * stations
    for low, high in pairwise(knots):
        own = segment_gradient(lower_cm=low[1], upper_cm=high[1], height_cm=high[0] - low[0])
        for (_, _, weights), slope in zip((low, high), own, strict=True):
            for station, weight in weights:
                slopes[station] += weight * slope
    return tuple(slopes)


def _girths_at_knots(girths: LimbGirths, section: Section) -> Knots:
    levels, taped_cm = girths.levels_cm, girths.girths_cm
    knots = ((knot, station_weights(levels, knot)) for knot in section_knots_cm(levels, section))
    return [
        (knot, sum(weight * taped_cm[station] for station, weight in weights), weights)
        for knot, weights in knots
    ]


def girth_at(girths: LimbGirths, level_cm: float) -> Centimetres:
    """Girth in cm at a level in cm, linear between stations. Raises SectionNotTaped."""
    weights = station_weights(girths.levels_cm, level_cm)
    return Centimetres(sum(weight * girths.girths_cm[station] for station, weight in weights))


def taped_section(girths: LimbGirths) -> Section:
    """From the first to the last station."""
    return Section(*girths.taped_cm)


@lru_cache(maxsize=1024)  # few protocols, asked for thousands of times
def section_knots_cm(levels_cm: tuple[float, ...], section: Section) -> tuple[float, ...]:
    """The ends of a section and the stations inside it, in cm. Raises SectionNotTaped."""
    first, last = levels_cm[0], levels_cm[-1]
    if not first <= section.from_cm < section.to_cm <= last:
        raise SectionNotTaped((section.from_cm, section.to_cm), (first, last))
    inside = (level for level in levels_cm if section.from_cm < level < section.to_cm)
    return (section.from_cm, *inside, section.to_cm)


@lru_cache(maxsize=4096)
def station_weights(levels_cm: tuple[float, ...], level_cm: float) -> Weights:
    """(station, weight) pairs whose weighted girths give the girth at a level; weights sum to 1.

    Raises SectionNotTaped for a level outside the stations.
    """
    first, last = levels_cm[0], levels_cm[-1]
    if not first <= level_cm <= last:
        raise SectionNotTaped((level_cm, level_cm), (first, last))
    station = bisect_right(levels_cm, level_cm) - 1
    if levels_cm[station] == level_cm:
        return ((station, 1.0),)
    low, high = levels_cm[station : station + 2]
    share = (level_cm - low) / (high - low)
    return ((station, 1 - share), (station + 1, share))
