"""Criteria at their boundaries, with their sources, and what they lack."""

from dataclasses import replace

import pytest

from clinic.common.vocabulary import Side
from measurements.limb.comparison import compare_limbs
from measurements.limb.thresholds import (
    RULES,
    Criterion,
    DominanceBand,
    DominanceLimit,
    Mark,
    Need,
    criteria,
    ctcae_edema_limbs_grade,
    dominance_band,
    severity,
    severity_band,
)
from tests.measurements.limb.limbs import worked_limb

FOUND = compare_limbs(
    worked_limb("arm-4cm-affected", Side.RIGHT), worked_limb("arm-4cm-unaffected", Side.LEFT)
)

# Value just below, at and just above the printed limit, and which of them meet it.
# DOI 10.1089/lrb.2015.0011 (2 cm); Stanton 2000 (200 mL, 10 %); Eur J Breast Health
# 2022;18:148-154 (> 5 %); Stout Gergich 2008 (> 3 %); Specht 2013 (5, 10 %; from memory, not
# re-read).
BOUNDARIES = [
    (Criterion.GIRTH_2CM, 2, (False, True, True)),
    (Criterion.VOLUME_200ML, 200, (False, True, True)),
    (Criterion.EXCESS_5_PERCENT, 5, (False, False, True)),
    (Criterion.EXCESS_10_PERCENT, 10, (False, True, True)),
    (Criterion.SURVEILLANCE_3_PERCENT, 3, (False, False, True)),
    (Criterion.RVC_5_PERCENT, 5, (False, True, True)),
    (Criterion.RVC_10_PERCENT, 10, (False, True, True)),
]


@pytest.mark.parametrize(("criterion", "limit", "met"), BOUNDARIES)
def test_each_criterion_is_met_from_its_printed_limit_on(
    criterion: Criterion, limit: float, met: tuple[bool, ...]
) -> None:
    rule = RULES[criterion]
    assert tuple(rule.is_met_by(limit + step) for step in (-1e-6, 0, 1e-6)) == met


def test_every_criterion_is_evaluated_once_and_names_its_source() -> None:
    found = criteria(FOUND, relative_change_percent=4.0)
    assert [each.criterion for each in found] == list(Criterion)
    assert all(each.source and each.met is not None and each.needs is None for each in found)
    assert {each.criterion for each in found if each.mark is Mark.MEMORY} == {
        Criterion.RVC_5_PERCENT,
        Criterion.RVC_10_PERCENT,
    }


def test_the_worked_arm_meets_all_criteria_between_limbs() -> None:
    """Cases arm-4cm-comparison: 2.9 cm, 369.063 mL, 19.9708 %."""
    values = {each.criterion: each.value for each in criteria(FOUND)}
    assert values[Criterion.GIRTH_2CM] == pytest.approx(2.9)
    assert values[Criterion.VOLUME_200ML] == pytest.approx(369.063, abs=0.02)
    assert values[Criterion.EXCESS_10_PERCENT] == pytest.approx(19.9708, abs=0.001)


def test_a_criterion_without_its_value_says_what_it_needs_and_is_not_called_unmet() -> None:
    needs = {each.criterion: (each.met, each.needs) for each in criteria(None)}
    assert needs[Criterion.VOLUME_200ML] == (None, Need.OTHER_LIMB)
    assert needs[Criterion.GIRTH_2CM] == (None, Need.OTHER_LIMB)
    assert needs[Criterion.SURVEILLANCE_3_PERCENT] == (None, Need.BASELINE)
    without_levels = criteria(replace(FOUND, girth_differences=()))
    assert (without_levels[0].met, without_levels[0].needs) == (None, Need.SHARED_LEVEL)


def test_the_severity_band_does_not_apply_without_a_sound_other_limb() -> None:
    assert severity(25, is_bilateral=True).band is None
    assert severity(None).band is None
    assert severity(4).band is None
    assert severity(25).band == severity_band(25) == "moderate"
    assert all(severity(each).because for each in (None, 4, 25))


def test_a_printed_twenty_percent_below_twenty_stays_minimal() -> None:
    """Case arm-4cm-comparison: 19.9708 % prints as 20.0 %, and its band is minimal."""
    assert f"{FOUND.excess_percent:.1f}" == "20.0"
    assert severity(FOUND.excess_percent).band == "minimal"


@pytest.mark.parametrize(
    ("limit", "moderate_from", "severe_above"),
    [
        # DXA, Lymphat Res Biol 2018;16:75-84.
        (DominanceLimit.ARM_DOMINANT, 6, 10),
        (DominanceLimit.ARM_NONDOMINANT, 0, 4),
        (DominanceLimit.LEG, 3, 6),
    ],
)
def test_dominance_bands_change_at_the_published_limits(
    limit: DominanceLimit, moderate_from: float, severe_above: float
) -> None:
    assert dominance_band(moderate_from - 1e-9, limit) is DominanceBand.NONE_MILD
    assert dominance_band(moderate_from, limit) is DominanceBand.MODERATE
    assert dominance_band(severe_above, limit) is DominanceBand.MODERATE
    assert dominance_band(severe_above + 1e-9, limit) is DominanceBand.SEVERE


def test_an_affected_limb_smaller_than_the_other_has_no_grade_and_no_band() -> None:
    assert ctcae_edema_limbs_grade(-12) is None
    assert severity_band(-12) is None
