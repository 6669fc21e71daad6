"""Red flags: what raises each, what does not, and what a person is told.

The signs and the days to call are those of the project's own clinical page, common practice
without a source, unless a source stands beside the test.
"""

from itertools import product
from typing import Any

import pytest

from clinic.common.vocabulary import Limb, Phase, Precaution, Region, RegionSide, Side
from clinic.visits.red_flags import (
    SIGNS_OF,
    LimbShift,
    Place,
    RedFlag,
    RedFlagKind,
    Sign,
    Urgency,
    VisitSigns,
    is_rapid,
    new_places,
    red_flags,
)
from programmes.body.precautions import effects_of

RIGHT_ARM = Place(Region.ARM, RegionSide.RIGHT)


def flags(*signs: Sign, **differences: Any) -> dict[RedFlagKind, RedFlag]:
    values = {"phase": Phase.MAINTENANCE, "signs": frozenset(signs)}
    return {flag.kind: flag for flag in red_flags(VisitSigns(**values | differences))}


def shift(**differences: Any) -> LimbShift:
    values = {
        "limb": Limb.ARM,
        "side": Side.RIGHT,
        "change_ml": 160.0,
        "change_percent": 7.0,
        "error_ml": 40.0,
        "days_between": 21,
        "is_beyond_error": True,
    }
    return LimbShift(**values | differences)


def test_a_quiet_visit_raises_nothing() -> None:
    quiet = shift(change_ml=30.0, change_percent=1.3, is_beyond_error=False)
    assert (
        flags(shifts=(quiet,), known=frozenset({RIGHT_ARM}), swollen=frozenset({RIGHT_ARM})) == {}
    )


@pytest.mark.parametrize("sign", Sign)
def test_every_sign_alone_raises_one_flag_that_names_it(sign: Sign) -> None:
    raised = flags(sign)
    assert list(raised) == [sign.kind]
    assert raised[sign.kind].because == (sign.label,)


def test_every_sign_belongs_to_one_kind() -> None:
    listed = [sign for signs in SIGNS_OF.values() for sign in signs]
    assert sorted(listed) == sorted(Sign)


@pytest.mark.parametrize(
    ("sign", "kind"),
    [
        (Sign.WARMTH, RedFlagKind.INFECTION),
        (Sign.REDNESS, RedFlagKind.INFECTION),
        (Sign.FEVER, RedFlagKind.INFECTION),
        (Sign.RED_STREAKS, RedFlagKind.INFECTION),
        (Sign.ONE_SIDED_PAIN, RedFlagKind.CLOT),
        (Sign.CHEST_PAIN, RedFlagKind.EMERGENCY),
        (Sign.LUMP, RedFlagKind.NEW_LUMP),
    ],
)
def test_a_sign_points_where_a_clinician_would_look(sign: Sign, kind: RedFlagKind) -> None:
    assert sign.kind is kind


def test_several_signs_of_one_kind_are_one_flag_with_all_of_them() -> None:
    raised = flags(Sign.FEVER, Sign.REDNESS)
    assert raised[RedFlagKind.INFECTION].because == (Sign.REDNESS.label, Sign.FEVER.label)


def test_the_most_urgent_flag_comes_first() -> None:
    raised = list(flags(Sign.LUMP, Sign.FEVER, Sign.CHEST_PAIN, shifts=(shift(),)))
    assert raised == [
        RedFlagKind.EMERGENCY,
        RedFlagKind.INFECTION,
        RedFlagKind.NEW_LUMP,
        RedFlagKind.RAPID_CHANGE,
    ]
    order = list(Urgency)
    assert [kind.urgency for kind in RedFlagKind] == sorted(
        (kind.urgency for kind in RedFlagKind), key=order.index
    )


# Limbs that moved


def test_a_sudden_rise_is_taken_as_judged_and_not_told_twice() -> None:
    raised = flags(shifts=(shift(rose_suddenly=True, change_percent=12.0, days_between=6),))
    assert list(raised) == [RedFlagKind.SUDDEN_RISE]
    assert raised[RedFlagKind.SUDDEN_RISE].because == (
        "right arm rose by 12 % (160 mL, standard error 40 mL) in 6 days",
    )


def test_an_explanation_does_not_hush_a_sudden_rise() -> None:
    assert RedFlagKind.SUDDEN_RISE in flags(shifts=(shift(rose_suddenly=True),), is_explained=True)


@pytest.mark.parametrize(
    ("differences", "expected"),
    [
        ({}, True),
        ({"change_ml": -160.0, "change_percent": -7.0}, True),
        ({"change_percent": 5.0}, True),
        ({"change_percent": 4.9}, False),
        ({"days_between": 27}, True),
        ({"days_between": 28}, False),
        ({"is_beyond_error": False}, False),
    ],
)
def test_a_change_is_rapid_when_it_is_large_quick_and_beyond_error(
    differences: dict[str, Any], expected: bool
) -> None:
    assert is_rapid(shift(**differences)) is expected
    assert (RedFlagKind.RAPID_CHANGE in flags(shifts=(shift(**differences),))) is expected


def test_a_named_cause_settles_a_rapid_change() -> None:
    assert flags(shifts=(shift(),), both_rose=True, is_explained=True) == {}


def test_a_fall_is_what_an_intensive_phase_is_for_and_a_rise_is_not() -> None:
    fell = shift(change_ml=-300.0, change_percent=-12.0)
    assert flags(shifts=(fell,), phase=Phase.INTENSIVE) == {}
    assert RedFlagKind.RAPID_CHANGE in flags(shifts=(shift(),), phase=Phase.INTENSIVE)
    assert RedFlagKind.RAPID_CHANGE in flags(shifts=(fell,), phase=Phase.SURVEILLANCE)


def test_both_limbs_rising_points_at_the_whole_body() -> None:
    raised = flags(both_rose=True)
    assert "whole body" in raised[RedFlagKind.RAPID_CHANGE].because[0]


# Swelling elsewhere


@pytest.mark.parametrize(
    ("known", "swollen", "is_new"),
    [
        ((Region.ARM, RegionSide.RIGHT), (Region.ARM, RegionSide.RIGHT), False),
        ((Region.ARM, RegionSide.RIGHT), (Region.BREAST, RegionSide.RIGHT), False),
        ((Region.ARM, RegionSide.RIGHT), (Region.TRUNK_UPPER, RegionSide.RIGHT), False),
        ((Region.LEG, RegionSide.LEFT), (Region.GENITAL, RegionSide.MIDLINE), False),
        ((Region.ARM, RegionSide.RIGHT), (Region.ARM, RegionSide.LEFT), True),
        ((Region.ARM, RegionSide.RIGHT), (Region.LEG, RegionSide.RIGHT), True),
        ((Region.LEG, RegionSide.LEFT), (Region.HEAD_NECK, RegionSide.MIDLINE), True),
        ((Region.BREAST, RegionSide.LEFT), (Region.TRUNK_LOWER, RegionSide.LEFT), True),
    ],
)
def test_swelling_is_new_where_it_drains_elsewhere_or_lies_on_the_other_side(
    known: tuple[Region, RegionSide], swollen: tuple[Region, RegionSide], is_new: bool
) -> None:
    raised = flags(known=frozenset({Place(*known)}), swollen=frozenset({Place(*swollen)}))
    assert (RedFlagKind.NEW_REGION in raised) is is_new


def test_whether_two_places_are_related_does_not_depend_on_which_is_known() -> None:
    places = [Place(region, side) for region, side in product(Region, RegionSide)]
    for one, other in product(places, places):
        ways = [
            new_places(VisitSigns(Phase.MAINTENANCE, known=frozenset({a}), swollen=frozenset({b})))
            for a, b in ((one, other), (other, one))
        ]
        assert bool(ways[0]) == bool(ways[1])


def test_new_places_are_told_by_side_and_name_in_the_order_of_the_regions() -> None:
    found = [
        Place(Region.HEAD_NECK, RegionSide.MIDLINE),
        Place(Region.BREAST, RegionSide.LEFT),
        Place(Region.LEG, RegionSide.RIGHT),
        Place(Region.LEG, RegionSide.LEFT),
    ]
    raised = flags(known=frozenset({RIGHT_ARM}), swollen=frozenset(found))
    assert raised[RedFlagKind.NEW_REGION].because == (
        "left leg",
        "right leg",
        "left breast",
        "head and neck",
    )


# What a person is told


@pytest.mark.parametrize("kind", RedFlagKind)
def test_every_flag_has_a_prompt_a_contact_and_the_usual_caution(kind: RedFlagKind) -> None:
    flag = RedFlag(kind, ("because",))
    assert flag.prompt.endswith(".")
    assert flag.contact == kind.urgency.label
    assert "local rules" in flag.caution


# Drainage stops in acute infection: Lymphoedema Framework, Best Practice for the Management of
# Lymphoedema, 2006, box 18. A clot: common practice, no source.
@pytest.mark.parametrize(
    ("kind", "precaution"),
    [
        (RedFlagKind.INFECTION, Precaution.UNTREATED_INFECTION),
        (RedFlagKind.CLOT, Precaution.ACUTE_CLOT),
        (RedFlagKind.SUDDEN_RISE, Precaution.UNEXPLAINED_SWELLING),
        (RedFlagKind.NEW_REGION, Precaution.UNEXPLAINED_SWELLING),
    ],
)
def test_the_precaution_of_a_flag_bars_treatment_once_recorded(
    kind: RedFlagKind, precaution: Precaution
) -> None:
    assert kind.precaution is precaution
    assert effects_of(frozenset({precaution})).barring
