"""Girths as taped, and the girths of one limb made from them."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import isfinite
from statistics import fmean

from clinic.common.vocabulary import Side
from measurements.limb.errors import (
    GirthNotPositive,
    GirthRepeated,
    LevelNotInProtocol,
    NoReadings,
    ReadingError,
    ReadingsRejected,
    StationMissing,
    TooFewStations,
    TooManyStations,
    TooManyTrials,
)

# Two girths bound one truncated cone; geometry.
FEWEST_STATIONS = 2

# How many tapings of one station a session may keep; common practice, no source.
MOST_TRIALS = 3


@dataclass(frozen=True)
class Reading:
    """One girth in cm at one level in cm from the limb's zero mark, exactly as taped."""

    side: Side
    level_cm: float
    girth_cm: float
    trial: int = 1


@dataclass(frozen=True)
class LimbGirths:
    """The girths of one limb by level, distal first: cm, each the mean of its trials.

    `zero_mark` names the landmark that levels are counted from; None: not stated.
    """

    side: Side
    levels_cm: tuple[float, ...]
    girths_cm: tuple[float, ...]
    trials: tuple[int, ...]
    zero_mark: str | None = None

    def __iter__(self) -> Iterator[tuple[float, float]]:
        """(level, girth) pairs in cm, distal first."""
        return zip(self.levels_cm, self.girths_cm, strict=True)

    @property
    def taped_cm(self) -> tuple[float, float]:
        """First and last level in cm."""
        return self.levels_cm[0], self.levels_cm[-1]


def limb_girths(
    readings: Iterable[Reading], side: Side, *, zero_mark: str | None = None
) -> LimbGirths:
    """The girths of one side, in cm, sorted by level, the trials of each level averaged.

    The order of readings does not matter; readings of the other side are left out.
    Raises ReadingsRejected when a girth is not above 0, a trial is repeated, or fewer than
    two levels were taped.
    """
    own = [reading for reading in readings if reading.side == side]
    _reject(_problems_of_side(own, side, None))
    by_level: defaultdict[float, list[float]] = defaultdict(list)
    for reading in own:
        by_level[float(reading.level_cm)].append(float(reading.girth_cm))
    levels = tuple(sorted(by_level))
    return LimbGirths(
        side=side,
        levels_cm=levels,
        girths_cm=tuple(fmean(by_level[level]) for level in levels),
        trials=tuple(len(by_level[level]) for level in levels),
        zero_mark=zero_mark,
    )


def check_readings(
    readings: Iterable[Reading], *, levels_cm: Sequence[float] | None = None
) -> None:
    """Raise ReadingsRejected with every problem of one session's readings, or return.

    `levels_cm` are the stations of the protocol, the same for both sides; None leaves them
    unchecked. A side without any reading was not taped, which is allowed for one side.
    """
    kept = list(readings)
    sides = [side for side in Side if any(reading.side == side for reading in kept)]
    problems: list[ReadingError] = [] if sides else [NoReadings(None)]
    for side in sides:
        own = [reading for reading in kept if reading.side == side]
        problems += _problems_of_side(own, side, levels_cm)
    _reject(problems)


def _reject(problems: Iterable[ReadingError]) -> None:
    found = tuple(problems)
    if found:
        raise ReadingsRejected(found)


def _problems_of_side(
    own: Sequence[Reading], side: Side, levels_cm: Sequence[float] | None
) -> Iterator[ReadingError]:
    if not own:
        yield NoReadings(side)
        return
    yield from _problems_of_readings(own)
    taped = {float(reading.level_cm) for reading in own}
    if levels_cm is not None:
        yield from _problems_of_levels(taped, side, {float(level) for level in levels_cm})
    if len(taped) < FEWEST_STATIONS:
        yield TooFewStations(side, len(taped))


def _problems_of_readings(own: Iterable[Reading]) -> Iterator[ReadingError]:
    seen = set()
    for reading in own:
        side, level_cm, trial = reading.side, float(reading.level_cm), reading.trial
        if not (isfinite(reading.girth_cm) and reading.girth_cm > 0):
            yield GirthNotPositive(side, level_cm, float(reading.girth_cm))
        if not 1 <= trial <= MOST_TRIALS:
            yield TooManyTrials(side, level_cm, trial, MOST_TRIALS)
        if (level_cm, trial) in seen:
            yield GirthRepeated(side, level_cm, trial)
        seen.add((level_cm, trial))


def _problems_of_levels(
    taped: set[float], side: Side, stations: set[float]
) -> Iterator[ReadingError]:
    if len(taped) > len(stations):
        yield TooManyStations(side, len(taped), len(stations))
    for level_cm in sorted(taped - stations):
        yield LevelNotInProtocol(side, level_cm)
    if missing := tuple(sorted(stations - taped)):
        yield StationMissing(side, missing)
