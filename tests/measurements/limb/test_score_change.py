"""What a change of a score means, at the limits in print."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.common.vocabulary import Side
from measurements.limb.instruments import SPECS, Instrument, Part
from measurements.limb.score_change import (
    LEG_RATIO_UPPER,
    Meaning,
    Trend,
    dominant_at_risk,
    ratio_limit,
    verdict_of,
)

# Change in points, meaning: Lymphology 2015 (7.31, 11.53), Rehabil Oncol 2018;36:28-36 (7.27,
# 12.74), BMC Musculoskelet Disord 2003;4:11 (10), 2006;7:44 (14) and 2017;18:248 (11.8), J Sport
# Rehabil 2011;20:115-128 (2.17), JOSPT 2014;44:560-564 (1.5, 1.3), PSFS MDC90 2; QuickDASH 13,
# goniometer 10 degrees and grip 6.5 kg from memory, not re-read; no limit is known for ratios.
PRINTED = [
    (Instrument.LLIS_1, None, 7.30, Meaning.WITHIN),
    (Instrument.LLIS_1, None, 7.31, Meaning.MAY_MATTER),
    (Instrument.LLIS_1, None, 10, Meaning.MAY_MATTER),
    (Instrument.LLIS_1, None, 11.53, Meaning.MATTERS),
    (Instrument.LLIS_2, None, 12.73, Meaning.MAY_MATTER),
    (Instrument.LLIS_2, None, 12.74, Meaning.MATTERS),
    (Instrument.DASH, None, 9.99, Meaning.WITHIN),
    (Instrument.DASH, None, 10, Meaning.MAY_MATTER),
    (Instrument.DASH, None, 11.8, Meaning.MATTERS),
    (Instrument.QUICKDASH, None, 13.5, Meaning.REAL_SMALL),
    (Instrument.QUICKDASH, None, 14, Meaning.MATTERS),
    (Instrument.PAIN, Part.MEAN, 2.16, Meaning.WITHIN),
    (Instrument.PAIN, Part.MEAN, 2.17, Meaning.MATTERS),
    (Instrument.PAIN, Part.NOW, 2, Meaning.MATTERS),
    (Instrument.FUNCTION, None, 1.5, Meaning.MAY_MATTER),
    (Instrument.FUNCTION, None, 2, Meaning.MATTERS),
    (Instrument.SHOULDER, Part.FLEXION, 9, Meaning.WITHIN),
    (Instrument.SHOULDER, Part.FLEXION, 10, Meaning.REAL_ONLY),
    (Instrument.GRIP, None, 6.5, Meaning.MATTERS),
    (Instrument.TISSUE_WATER, Part.HAND, 0.4, Meaning.NOT_KNOWN),
]


@pytest.mark.parametrize(("instrument", "part", "points", "meaning"), PRINTED)
def test_a_change_means_what_its_limits_say_in_both_directions(
    instrument: Instrument, part: Part | None, points: float, meaning: Meaning
) -> None:
    spec = SPECS[instrument]
    up = verdict_of(1 + points, 1, spec=spec, part=part)
    down = verdict_of(1, 1 + points, spec=spec, part=part)
    assert (up.meaning, down.meaning) == (meaning, meaning)
    assert {up.trend, down.trend} == {Trend.BETTER, Trend.WORSE}
    assert (up.trend is Trend.BETTER) is spec.higher_is_better


@given(st.sampled_from(list(SPECS.values())), st.floats(1, 200), st.floats(1, 200))
def test_a_change_back_points_the_other_way(spec, then: float, now: float) -> None:
    part = spec.parts[0] if spec.parts else None
    there = verdict_of(now, then, spec=spec, part=part)
    back = verdict_of(then, now, spec=spec, part=part)
    assert there.change == -back.change
    assert (there.trend is Trend.SAME) is (back.trend is Trend.SAME)
    if there.trend is not Trend.SAME:
        assert there.trend is not back.trend


def test_a_change_within_is_called_neither_better_nor_worse() -> None:
    verdict = verdict_of(42, 40, spec=SPECS[Instrument.LLIS_2], part=None)
    assert verdict.words == "within the smallest change"
    assert not verdict.is_certain
    assert verdict_of(40, 40, spec=SPECS[Instrument.LLIS_2], part=None).words == "unchanged"


def test_a_change_between_the_limits_is_not_called_certain() -> None:
    """LLIS: the smallest change that matters lies below the one beyond error."""
    verdict = verdict_of(50, 40, spec=SPECS[Instrument.LLIS_2], part=None)
    assert verdict.words == "worse: may matter, cannot be told from measurement error"
    assert not verdict.is_certain


# DOI 10.1089/lrb.2010.0014: above 1.106 (non-dominant arm at risk), above 1.134 (dominant).
@pytest.mark.parametrize(
    ("ratio", "dominant", "is_above"),
    [(1.106, False, False), (1.107, False, True), (1.134, True, False), (1.135, True, True)],
)
def test_an_arm_ratio_is_raised_strictly_above_its_limit(
    ratio: float, dominant: bool, is_above: bool
) -> None:
    found = ratio_limit(Instrument.IMPEDANCE, ratio, part=Part.ARM, dominant_at_risk=dominant)
    assert found.is_above is is_above


def test_without_a_dominant_hand_no_arm_limit_is_chosen() -> None:
    found = ratio_limit(Instrument.IMPEDANCE, 1.5, part=Part.ARM, dominant_at_risk=None)
    assert (found.limit, found.is_above) == (None, None)
    assert dominant_at_risk(Side.LEFT, None) is None
    assert dominant_at_risk(Side.LEFT, Side.LEFT) is True
    assert dominant_at_risk(Side.LEFT, Side.RIGHT) is False


def test_legs_and_tissue_water_have_limits_of_their_own() -> None:
    """Steele et al.: 1.005 + 3 x 0.072; lymph/19368: hand 1.57, forearm 1.20, biceps 1.24."""
    assert pytest.approx(1.221, abs=1e-9) == LEG_RATIO_UPPER
    leg = ratio_limit(Instrument.IMPEDANCE, 1.23, part=Part.LEG, dominant_at_risk=None)
    assert leg.is_above
    printed = {Part.HAND: 1.57, Part.FOREARM: 1.20, Part.UPPER_ARM: 1.24}
    for part, limit in printed.items():
        at = ratio_limit(Instrument.TISSUE_WATER, limit, part=part, dominant_at_risk=None)
        above = ratio_limit(
            Instrument.TISSUE_WATER, limit + 0.001, part=part, dominant_at_risk=None
        )
        assert (at.limit, at.is_above, above.is_above) == (limit, False, True)


def test_other_instruments_have_no_such_limit() -> None:
    assert ratio_limit(Instrument.GRIP, 20, part=None, dominant_at_risk=True) is None
