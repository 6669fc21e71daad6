"""Speed of limb arithmetic as ratios within one run."""

from collections.abc import Callable
from math import pi
from statistics import median
from time import perf_counter

import numpy as np
import pytest

from clinic.common.vocabulary import Side
from measurements.limb.comparison import compare_limbs
from measurements.limb.girth import Reading, limb_girths
from measurements.limb.trend import history_volumes

pytestmark = pytest.mark.bench

SESSIONS, STATIONS, SPACING_CM = 100_000, 11, 4.0
REPEATS = 9


def _seconds(work: Callable[[], object]) -> float:
    begun = perf_counter()
    work()
    return perf_counter() - begun


def test_a_caseload_with_errors_takes_at_most_three_times_its_bare_volumes() -> None:
    """100,000 sessions, two limbs, 11 stations; each repeat times both, one after the other."""
    draws = np.random.default_rng(20260304)
    girths = draws.uniform(15, 40, (2 * SESSIONS, STATIONS))
    levels = [SPACING_CM * step for step in range(STATIONS)]

    def bare() -> np.ndarray:
        low, high = girths[:, :-1], girths[:, 1:]
        return (SPACING_CM * (low**2 + low * high + high**2) / (12 * pi)).sum(axis=1)

    def with_errors() -> np.ndarray:
        return history_volumes(girths, levels).volume_ml

    assert with_errors() == pytest.approx(bare(), rel=1e-9)
    ratios = [_seconds(with_errors) / _seconds(bare) for _ in range(REPEATS)]
    assert median(ratios) <= 3


def test_one_session_from_readings_to_comparison_takes_under_a_millisecond() -> None:
    readings = [
        Reading(side, SPACING_CM * step, 20.0 + step) for side in Side for step in range(STATIONS)
    ]

    def one_session() -> None:
        right, left = (limb_girths(readings, side) for side in (Side.RIGHT, Side.LEFT))
        compare_limbs(right, left)

    times = [_seconds(one_session) for _ in range(200)]
    assert median(times) < 0.001
