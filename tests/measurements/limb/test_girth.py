"""Readings become one limb's girths, or every problem is named at once."""

from math import nan
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.common.vocabulary import Side
from measurements.limb.errors import (
    GirthNotPositive,
    GirthRepeated,
    LevelNotInProtocol,
    NoReadings,
    ReadingsRejected,
    StationMissing,
    TooFewStations,
    TooManyStations,
    TooManyTrials,
)
from measurements.limb.girth import Reading, check_readings, limb_girths

LEVELS = (0.0, 4.0, 8.0)
GOOD = [Reading(Side.LEFT, level, 20 + level) for level in LEVELS]


@given(st.randoms(use_true_random=False), st.lists(st.floats(10, 80), min_size=2, max_size=15))
def test_the_order_of_stations_does_not_matter(random: Random, girths: list[float]) -> None:
    readings = [Reading(Side.LEFT, 4.0 * step, girth) for step, girth in enumerate(girths)]
    shuffled = random.sample(readings, len(readings))
    assert limb_girths(shuffled, Side.LEFT) == limb_girths(readings, Side.LEFT)


def test_the_girth_of_a_station_is_the_mean_of_its_trials() -> None:
    readings = [*GOOD, Reading(Side.LEFT, 4, 25, trial=2), Reading(Side.RIGHT, 4, 99)]
    found = limb_girths(readings, Side.LEFT)
    assert found.girths_cm == (20, 24.5, 28)
    assert found.trials == (1, 2, 1)


def test_good_readings_pass() -> None:
    check_readings(GOOD, levels_cm=LEVELS)
    check_readings([*GOOD, *(Reading(Side.RIGHT, *pair) for pair in ((0, 20), (4, 22)))])


PROBLEMS = [
    ([], NoReadings),
    ([*GOOD[:2], Reading(Side.LEFT, 8, 0)], GirthNotPositive),
    ([*GOOD[:2], Reading(Side.LEFT, 8, -3.0)], GirthNotPositive),
    ([*GOOD[:2], Reading(Side.LEFT, 8, nan)], GirthNotPositive),
    ([*GOOD, GOOD[0]], GirthRepeated),
    ([*GOOD, Reading(Side.LEFT, 0, 20, trial=4)], TooManyTrials),
    ([*GOOD, Reading(Side.LEFT, 0, 20, trial=0)], TooManyTrials),
    (GOOD[:2], StationMissing),
    ([*GOOD[:2], Reading(Side.LEFT, 9, 30)], LevelNotInProtocol),
    ([*GOOD, Reading(Side.LEFT, 12, 30)], TooManyStations),
    (GOOD[:1], TooFewStations),
]


@pytest.mark.parametrize(("readings", "problem"), PROBLEMS)
def test_each_fault_of_a_set_of_readings_is_named(
    readings: list[Reading], problem: type[Exception]
) -> None:
    with pytest.raises(ReadingsRejected) as caught:
        check_readings(readings, levels_cm=LEVELS)
    assert problem in {type(each) for each in caught.value.problems}


def test_all_problems_of_both_sides_come_at_once_with_their_places() -> None:
    readings = [Reading(Side.LEFT, 0, 0.0), Reading(Side.LEFT, 4, 20), Reading(Side.RIGHT, 0, 18)]
    with pytest.raises(ReadingsRejected) as caught:
        check_readings(readings, levels_cm=LEVELS)
    found = {(type(each), each.side) for each in caught.value.problems}
    assert found == {
        (GirthNotPositive, Side.LEFT),
        (StationMissing, Side.LEFT),
        (StationMissing, Side.RIGHT),
        (TooFewStations, Side.RIGHT),
    }
    missing = [each for each in caught.value.problems if isinstance(each, StationMissing)]
    assert [each.levels_cm for each in missing] == [(8.0,), (4.0, 8.0)]


@pytest.mark.parametrize("readings", [[], GOOD[:1], [*GOOD[:2], Reading(Side.LEFT, 8, 0)]])
def test_no_limb_is_made_of_readings_that_bound_no_volume(readings: list[Reading]) -> None:
    with pytest.raises(ReadingsRejected):
        limb_girths(readings, Side.LEFT)
