"""How a goal stands, from a measured value and its error."""

from datetime import date
from math import isclose, sqrt

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import norm

from clinic.visits.goals import (
    Aim,
    Certainty,
    GoalStanding,
    Measured,
    Reach,
    goal_standing,
    offered_status,
)
from clinic.visits.plan_errors import TargetIsBaseline
from clinic.visits.words import GoalStatus

DUE_ON = date(2026, 3, 31)
NUMBERS = st.floats(-500, 500, allow_nan=False).map(lambda value: round(value, 2))
ERRORS = st.floats(0.01, 50, allow_nan=False)


@st.composite
def aims(draw: st.DrawFn) -> Aim:
    baseline, target = draw(NUMBERS), draw(NUMBERS)
    assume(abs(baseline - target) >= 0.5)
    return Aim(baseline, target)


# Example of a goal of the reference (care, 5.5): "arm excess volume from 18 to under 10 percent";
# "shoulder flexion 120 to 155 degrees". The values in between are our own arithmetic by hand.
@pytest.mark.parametrize(
    ("aim", "value", "percent", "reach"),
    [
        (Aim(18, 10), 18, 0, Reach.UNMOVED),
        (Aim(18, 10), 14, 50, Reach.TOWARDS),
        (Aim(18, 10), 10, 100, Reach.MET),
        (Aim(18, 10), 8, 125, Reach.MET),
        (Aim(18, 10), 20, -25, Reach.AWAY),
        (Aim(120, 155), 134, 40, Reach.TOWARDS),
        (Aim(120, 155), 160, 800 / 7, Reach.MET),
        (Aim(120, 155), 113, -20, Reach.AWAY),
    ],
)
def test_progress_is_the_share_of_the_way_from_baseline_to_target(
    aim: Aim, value: float, percent: float, reach: Reach
) -> None:
    found = goal_standing(aim, Measured(value))
    assert found.reach is reach
    assert found.progress_percent == pytest.approx(percent)


def test_a_goal_that_asks_for_no_change_is_refused() -> None:
    with pytest.raises(TargetIsBaseline) as told:
        Aim(10, 10)
    assert told.value.field == "target"


@given(aims(), NUMBERS, st.none() | ERRORS)
def test_a_goal_upwards_is_the_mirror_of_one_downwards(
    aim: Aim, value: float, error: float | None
) -> None:
    mirror = Aim(-aim.baseline, -aim.target)
    assert mirror.is_downwards is not aim.is_downwards
    own, mirrored = (
        goal_standing(aim, Measured.with_error(value, error)),
        goal_standing(mirror, Measured.with_error(-value, error)),
    )
    assert (own.reach, own.certainty) == (mirrored.reach, mirrored.certainty)
    assert isclose(own.progress_percent, mirrored.progress_percent, abs_tol=1e-9)


@given(aims(), NUMBERS)
def test_reach_and_progress_never_contradict_each_other(aim: Aim, value: float) -> None:
    found = goal_standing(aim, Measured(value))
    expected = {
        Reach.MET: found.progress_percent >= 100 - 1e-9,
        Reach.TOWARDS: 0 < found.progress_percent < 100,
        Reach.UNMOVED: found.progress_percent == 0,
        Reach.AWAY: found.progress_percent < 0,
    }
    assert expected[found.reach]


@given(aims(), ERRORS, st.floats(-0.99, 0.99))
def test_a_change_within_the_error_of_two_measurements_is_never_called_real(
    aim: Aim, error: float, share: float
) -> None:
    # 95 % of two normal errors: scipy's quantile, 1.95996, is rounded to 1.96 in print.
    noise = share * float(norm.ppf(0.975)) * sqrt(2) * error
    found = goal_standing(aim, Measured.with_error(aim.baseline + noise, error))
    assert found.certainty is Certainty.WITHIN
    assert not found.is_worse
    assert not found.is_surely_met


@given(aims(), ERRORS, st.floats(0, 0.99))
def test_a_target_passed_by_less_than_the_error_of_the_value_is_not_surely_met(
    aim: Aim, error: float, share: float
) -> None:
    past = share * float(norm.ppf(0.975)) * error
    value = aim.target - past if aim.is_downwards else aim.target + past
    found = goal_standing(aim, Measured.with_error(value, error))
    assume(found.reach is Reach.MET)  # adding may round to just short of it
    assert not found.is_surely_met
    assert "within measurement error" in found.words


@given(aims(), ERRORS)
def test_far_from_both_by_more_than_error_is_certain(aim: Aim, error: float) -> None:
    step = 3 * sqrt(2) * error
    down = -1 if aim.is_downwards else 1
    assert goal_standing(aim, Measured.with_error(aim.baseline - down * step, error)).is_worse
    assert goal_standing(aim, Measured.with_error(aim.target + down * step, error)).is_surely_met


@given(aims(), NUMBERS)
def test_without_a_known_error_the_words_say_so(aim: Aim, value: float) -> None:
    found = goal_standing(aim, Measured(value))
    assert found.certainty is Certainty.NOT_KNOWN
    assert not found.is_worse
    assert found.reach is Reach.UNMOVED or "measurement error not known" in found.words


@pytest.mark.parametrize(
    ("reach", "certainty", "before_due", "after_due"),
    [
        (Reach.MET, Certainty.BEYOND, GoalStatus.MET, GoalStatus.MET),
        (Reach.MET, Certainty.NOT_KNOWN, GoalStatus.MET, GoalStatus.MET),
        (Reach.MET, Certainty.WITHIN, GoalStatus.OPEN, GoalStatus.PARTLY),
        (Reach.TOWARDS, Certainty.BEYOND, GoalStatus.OPEN, GoalStatus.PARTLY),
        (Reach.TOWARDS, Certainty.WITHIN, GoalStatus.OPEN, GoalStatus.NOT_MET),
        (Reach.UNMOVED, Certainty.WITHIN, GoalStatus.OPEN, GoalStatus.NOT_MET),
        (Reach.AWAY, Certainty.BEYOND, GoalStatus.OPEN, GoalStatus.NOT_MET),
    ],
)
def test_the_offered_status_never_calls_noise_met(
    reach: Reach, certainty: Certainty, before_due: GoalStatus, after_due: GoalStatus
) -> None:
    standing = GoalStanding(reach, certainty, 0)
    assert offered_status(standing, due_on=DUE_ON, on=DUE_ON) is before_due
    assert offered_status(standing, due_on=DUE_ON, on=date(2026, 4, 1)) is after_due
