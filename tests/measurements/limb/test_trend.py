"""Whole histories: the arrays agree with single limbs, and points with their baseline."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from clinic.common.vocabulary import Side
from measurements.limb.comparison import Verdict, change_since, compare_limbs, excess_change
from measurements.limb.errors import LengthNotPositive, MixedSides, NoSharedSection
from measurements.limb.ratios import relative_volume_change
from measurements.limb.trend import SessionGirths, history_volumes, trend
from measurements.limb.volume import Section, limb_volume
from tests.measurements.limb.limbs import ANALYTIC_CASES, limb, worked_limb

ARM = worked_limb("arm-4cm-affected", Side.RIGHT)
OTHER = worked_limb("arm-4cm-unaffected", Side.LEFT)
LEVELS = ARM.levels_cm


def shrunk(share: float):
    return limb(LEVELS, [girth * share for girth in ARM.girths_cm], Side.RIGHT)


@pytest.mark.parametrize("case", ANALYTIC_CASES, ids=lambda case: case["name"])
def test_a_history_of_one_gives_the_published_volume(case: dict) -> None:
    found = history_volumes([case["girths_cm"]], case["stations_cm"])
    assert found.volume_ml[0] == pytest.approx(case["frustum_from_girths_ml"], rel=1e-9)


@given(
    arrays(float, (4, 6), elements=st.floats(10, 80)),
    st.floats(0, 9.9),
    st.floats(10.1, 25),
)
def test_a_history_agrees_with_each_limb_taken_alone(
    girths: np.ndarray, from_cm: float, to_cm: float
) -> None:
    levels, section = (0.0, 4.0, 8.0, 14.0, 20.0, 25.0), Section(from_cm, to_cm)
    found = history_volumes(girths, levels, section=section)
    for row, taped in enumerate(girths):
        alone = limb_volume(limb(levels, [float(each) for each in taped]), section=section)
        assert found.volume_ml[row] == pytest.approx(alone.ml, rel=1e-9)
        assert found.error_ml[row] == pytest.approx(alone.error_ml, rel=1e-9)
        assert found.independent_error_ml[row] == pytest.approx(alone.independent_error_ml)
        assert found.shared_error_ml[row] == pytest.approx(alone.shared_error_ml)


def test_a_missing_girth_gives_no_volume_for_its_session_only() -> None:
    girths = np.array([ARM.girths_cm, ARM.girths_cm])
    girths[0, 3] = np.nan
    found = history_volumes(girths, LEVELS)
    assert np.isnan(found.volume_ml[0])
    assert found.volume_ml[1] == pytest.approx(2217.081, abs=0.01)  # case arm-4cm-affected


@pytest.mark.parametrize("wrong", [0.0, -4.0])
def test_a_history_with_an_impossible_girth_is_refused(wrong: float) -> None:
    with pytest.raises(LengthNotPositive):
        history_volumes([[20.0, wrong]], [0, 4])


def test_an_empty_history_is_empty() -> None:
    assert history_volumes(np.empty((0, 11)), LEVELS).volume_ml.shape == (0,)
    assert trend([]).points == ()


SESSIONS = [
    SessionGirths(date(2026, 3, 1), shrunk(0.95), OTHER),
    SessionGirths(date(2026, 1, 5), ARM, OTHER, is_baseline=True),
    SessionGirths(date(2026, 2, 1), shrunk(0.998), OTHER),
]


def test_points_come_in_order_of_date_and_name_the_baseline() -> None:
    found = trend(SESSIONS)
    assert [point.taken_on.month for point in found.points] == [1, 2, 3]
    assert found.baseline is found.points[0]
    assert found.baseline.change is None


def test_each_point_is_held_against_the_baseline_with_its_error() -> None:
    found = trend(SESSIONS)
    was, is_now = compare_limbs(ARM, OTHER), compare_limbs(shrunk(0.95), OTHER)
    assert found.points[2].change == excess_change(is_now, was)
    assert [point.change.verdict for point in found.points[1:]] == [
        Verdict.WITHIN_ERROR,
        Verdict.BEYOND_ERROR_DOWN,
    ]
    rvc = relative_volume_change(
        a1_ml=was.affected.ml, u1_ml=was.other.ml, a2_ml=is_now.affected.ml, u2_ml=is_now.other.ml
    )
    assert found.points[2].relative_change.value == pytest.approx(rvc)


def test_sessions_at_other_levels_are_compared_over_what_all_share() -> None:
    short = limb([4, 14, 24, 34], [19, 25, 27, 29], Side.RIGHT)
    found = trend([*SESSIONS, SessionGirths(date(2026, 4, 1), short, OTHER)])
    assert found.section == Section(4, 34)
    assert found.section_is_shorter
    assert {point.volume.section for point in found.points} == {Section(4, 34)}
    assert not trend(SESSIONS).section_is_shorter


def test_without_the_other_limb_the_change_is_of_the_limb_itself() -> None:
    found = trend([SESSIONS[1], SessionGirths(date(2026, 3, 1), shrunk(0.95))])
    point = found.points[1]
    assert not point.change_is_of_excess
    assert point.change.change_ml == pytest.approx(change_since(shrunk(0.95), ARM).change_ml)
    assert (point.excess_ml, point.excess_percent, point.relative_change) == (None, None, None)


def test_without_a_baseline_no_change_is_given() -> None:
    found = trend([SESSIONS[0], SESSIONS[2]])
    assert found.baseline is None
    assert all(point.change is None and point.relative_change is None for point in found.points)
    assert all(point.excess_ml for point in found.points)


def test_sessions_that_share_no_stretch_or_no_side_are_not_drawn_as_one() -> None:
    apart = SessionGirths(date(2026, 5, 1), limb([50, 60], [40, 44], Side.RIGHT))
    with pytest.raises(NoSharedSection):
        trend([*SESSIONS, apart])
    with pytest.raises(MixedSides):
        trend([*SESSIONS, SessionGirths(date(2026, 5, 1), OTHER, ARM)])
