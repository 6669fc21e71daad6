"""Scores at the limits that print gives."""

import pytest

from measurements.limb.outcome import (
    LLIS_V1,
    LLIS_V2,
    ChangeLimits,
    ChangeMeaning,
    change_meaning,
    function_change,
    pain_change,
)


@pytest.mark.parametrize("limits", [LLIS_V1, LLIS_V2])
def test_a_change_is_called_by_the_limit_it_reaches(limits: ChangeLimits) -> None:
    """Lymphology 2015 (7.31, 11.53); Rehabil Oncol 2018;36:28-36 (7.27, 12.74)."""
    for points, meaning in (
        (limits.mcid - 0.01, ChangeMeaning.BELOW_MCID),
        (limits.mcid, ChangeMeaning.ABOVE_MCID),
        (limits.mdc95 - 0.01, ChangeMeaning.ABOVE_MCID),
        (limits.mdc95, ChangeMeaning.ABOVE_MDC95),
    ):
        assert change_meaning(points, limits) is meaning
        assert change_meaning(-points, limits) is meaning


def test_pain_that_eases_by_less_than_2_17_does_not_meet_the_limit() -> None:
    """Michener et al., J Sport Rehabil 2011;20:115-128."""
    assert not pain_change([6, 6, 6], [4, 4, 4]).meets_mcid
    assert pain_change([6, 6, 6], [4, 4, 3]).meets_mcid
    assert not pain_change([3, 3, 3], [6, 6, 6]).meets_mcid


def test_activities_must_be_the_same_before_and_after() -> None:
    with pytest.raises(ValueError, match="zip"):
        function_change([3, 4, 2], [6, 6])
