"""When an intensive phase may be said to approach a plateau, and when it is too early to tell."""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest

from measurements.limb.approach import Series, approach
from measurements.limb.course import (
    DecongestionVerdict,
    Doubt,
    MeasuredDay,
    decongestion,
    decongestion_curve,
    doubt_of,
    one_a_day,
)
from tests.measurements.limb.test_approach import certified_fit

FIRST_ON = date(2026, 1, 5)
ERROR_ML = 20.0
# 1.96 x sqrt(2) x 20: the smallest real change, DOI 10.1089/lrb.2022.0032.
LIMIT_ML = 55.437


def measured(days: Iterable[int], volumes_ml: Iterable[float]) -> list[MeasuredDay]:
    pairs = zip(days, volumes_ml, strict=True)
    return [MeasuredDay(FIRST_ON + timedelta(days=n), ml, ERROR_ML, 0.0) for n, ml in pairs]


def falling(days: Iterable[int], *, plateau_ml: float = 200, rate: float = 1.4):
    days = list(days)
    return measured(
        days,
        (
            decongestion_curve(n / 7, start_ml=600, plateau_ml=plateau_ml, rate_per_week=rate)
            for n in days
        ),
    )


def test_a_noiseless_course_gives_back_its_own_parameters() -> None:
    found = decongestion(falling(range(0, 28, 3)))
    assert found.verdict is DecongestionVerdict.AT_PLATEAU
    fit = found.told
    assert fit
    assert (fit.start_ml, fit.plateau_ml) == pytest.approx((600, 200))
    assert fit.rate_per_week == pytest.approx(1.4)
    # ln 2 / 1.4 weeks.
    assert fit.half_life_days == pytest.approx(7 * 0.693147 / 1.4, rel=1e-5)
    assert fit.limit_ml == pytest.approx(LIMIT_ML, abs=0.001)


def test_the_day_is_the_first_on_which_less_is_left_than_a_real_change() -> None:
    fit = decongestion(falling(range(0, 28, 3))).told
    assert fit
    # 400 exp(-1.4 t) = 55.437: 1.4116 weeks, 9.88 days; the tenth day.
    assert fit.within_on == FIRST_ON + timedelta(days=10)
    assert fit.at(fit.within_on) - fit.plateau_ml < LIMIT_ML
    assert fit.at(fit.within_on - timedelta(days=1)) - fit.plateau_ml > LIMIT_ML
    assert fit.within_to_on
    assert fit.within_from_on < fit.within_on < fit.within_to_on


def test_before_that_day_it_is_still_falling() -> None:
    found = decongestion(
        measured(range(0, 22, 2), [3000 * 0.88**n + 2000 for n in range(0, 22, 2)])
    )
    assert found.verdict is DecongestionVerdict.STILL_FALLING
    assert found.told
    assert found.told.within_on > found.told.last_on
    assert found.told.left_ml > LIMIT_ML


@pytest.mark.parametrize("days", [0, 1, 4])
def test_fewer_than_five_days_are_too_early(days: int) -> None:
    found = decongestion(falling(range(0, 7 * days, 7)))
    assert (found.verdict, found.doubt) == (DecongestionVerdict.TOO_EARLY, Doubt.FEW_DAYS)
    assert found.days_measured == days
    assert found.fit is None


def test_tapings_of_one_day_are_one_day() -> None:
    four_days = falling([0, 7, 14, 21])
    assert decongestion(four_days * 3).doubt is Doubt.FEW_DAYS


def test_the_pull_of_one_hand_does_not_average_out_within_a_day() -> None:
    taped = MeasuredDay(FIRST_ON, 500, independent_error_ml=20, shared_error_ml=15)
    (day,) = one_a_day([taped, replace(taped, volume_ml=520), replace(taped, volume_ml=540)] * 3)
    assert day.volume_ml == pytest.approx(520)
    assert day.independent_error_ml == pytest.approx(20 / 3)
    assert day.shared_error_ml == pytest.approx(15)


def test_a_plateau_beyond_what_the_data_show_is_not_given() -> None:
    # NIST Misra1a turned over: its certified plateau, -138.9, lies far below every value (18.2).
    found = certified_fit("Misra1a")
    assert found.plateau_ml == pytest.approx(-138.94212918)
    assert doubt_of(found, limit_ml=0.28) is Doubt.BEYOND


def test_a_fall_in_a_straight_line_is_too_early() -> None:
    found = decongestion(measured(range(0, 22, 3), [900 - 20 * n for n in range(0, 22, 3)]))
    assert (found.verdict, found.doubt) == (DecongestionVerdict.TOO_EARLY, Doubt.BEYOND)
    assert found.told is None


def test_an_interval_wider_than_the_fall_is_too_early() -> None:
    weeks = np.arange(5.0)
    near, far = (
        approach(Series(weeks, 200 + 150 * np.exp(-1.2 * weeks), np.full(5, error_ml)))
        for error_ml in (20.0, 30.0)
    )
    assert near.plateau_interval.width < near.fall_ml
    assert doubt_of(near, limit_ml=LIMIT_ML) is None
    assert far.plateau_interval.width > far.fall_ml
    assert doubt_of(far, limit_ml=1.5 * LIMIT_ML) is Doubt.WIDE


def test_a_rise_is_no_approach_to_a_plateau() -> None:
    found = decongestion(measured(range(0, 28, 4), [400 + 8 * n for n in range(0, 28, 4)]))
    assert (found.verdict, found.doubt) == (DecongestionVerdict.NO_PLATEAU, Doubt.RISES)


def test_a_level_course_has_not_fallen() -> None:
    found = decongestion(measured(range(0, 24, 4), [400, 410, 395, 405, 398, 404]))
    assert (found.verdict, found.doubt) == (DecongestionVerdict.NO_PLATEAU, Doubt.NO_FALL)


def test_a_fall_that_turns_into_a_rise_does_not_fit() -> None:
    volumes = [700, 550, 420, 350, 330, 420, 520, 590]
    found = decongestion(measured(range(0, 24, 3), volumes))
    assert (found.verdict, found.doubt) == (DecongestionVerdict.DOES_NOT_FIT, Doubt.MISFIT)


def test_an_imprecise_day_weighs_less() -> None:
    days = falling(range(0, 28, 3))
    off = replace(days[5], volume_ml=days[5].volume_ml + 100)
    plateaus = [
        decongestion([*days[:5], replace(off, independent_error_ml=error), *days[6:]]).fit
        for error in (20, 60, 200)
    ]
    shifts = [abs(fit.plateau_ml - 200) for fit in plateaus if fit]
    assert all(less > more for less, more in pairwise(shifts))


def test_few_courses_are_called_level_while_much_is_left() -> None:
    # Simulated slow falls, half-life a month: 21 days in, a real change of 200 mL still lies ahead.
    random, wrong = np.random.default_rng(7), 0
    for _ in range(200):
        days = falling(range(0, 22, 2), rate=0.16)
        noisy = [replace(day, volume_ml=day.volume_ml + random.normal(0, ERROR_ML)) for day in days]
        wrong += decongestion(noisy).is_at_plateau
    assert wrong <= 0.05 * 200


def test_the_order_of_the_measurements_does_not_matter() -> None:
    days = falling(range(0, 28, 3))
    assert decongestion(reversed(days)) == decongestion(days)
