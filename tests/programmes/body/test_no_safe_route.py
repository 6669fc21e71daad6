"""When no route is safe the planner says so, says why, and gives no programme."""

from itertools import product

import pytest

from clinic.common.vocabulary import Basin, Precaution, Region, Side
from programmes.body.errors import NoSafeRoute, SituationUnclear, WhyNoRoute
from programmes.body.planner import plan
from programmes.body.situation import Affected, Options, Situation
from tests.programmes.body.cases import MIDLINE, RIGHT, one_arm, one_leg

# Care page 2.1: level A and blocks ALL.
ABSOLUTE = (
    Precaution.UNTREATED_INFECTION,
    Precaution.ACUTE_CLOT,
    Precaution.HEART_FAILURE,
    Precaution.KIDNEY_FAILURE,
    Precaution.LIVER_FAILURE,
    Precaution.CAVAL_OBSTRUCTION,
    Precaution.UNEXPLAINED_SWELLING,
    Precaution.UNTREATED_TUBERCULOSIS,
)
# Care page 2.1: level R and blocks ALL until cleared.
RELATIVE = (
    Precaution.ACTIVE_CANCER,
    Precaution.UNSTABLE_BLOOD_PRESSURE,
    Precaution.UNSTABLE_ASTHMA,
    Precaution.CHEMOTHERAPY,
)


def refusal(situation: Situation) -> NoSafeRoute:
    with pytest.raises(NoSafeRoute) as refused:
        plan(situation)
    return refused.value


@pytest.mark.parametrize("precaution", ABSOLUTE)
def test_an_absolute_precaution_bars_even_if_somebody_clears_it(precaution: Precaution) -> None:
    found = frozenset({precaution})
    error = refusal(one_arm(precautions=found, cleared=found))
    assert error.why is WhyNoRoute.BARRED
    assert error.precautions == (precaution,)


@pytest.mark.parametrize("precaution", RELATIVE)
def test_a_relative_precaution_bars_until_it_is_cleared(precaution: Precaution) -> None:
    found = frozenset({precaution})
    assert refusal(one_arm(precautions=found)).why is WhyNoRoute.UNCLEARED_PRECAUTION
    assert plan(one_arm(precautions=found, cleared=found)).steps == plan(one_arm()).steps


def test_all_four_basins_treated_needs_the_lesser_routes() -> None:
    # Care page 1.6: "all four basins treated: no default plan; clinician must switch it on".
    treated = frozenset(product((Basin.AXILLA, Basin.GROIN), Side))
    situation = one_arm(basins_not_working=treated)
    error = refusal(situation)
    assert error.why is WhyNoRoute.NEEDS_LESSER_ROUTES
    assert "fingers_R" in error.regions
    switched = one_arm(basins_not_working=treated, options=Options(lesser_routes=True))
    assert "supraclav_R" in plan(switched).receiving


def test_a_route_over_the_back_alone_needs_a_helper() -> None:
    # Care page 1.6: fragile front chest, so PAA and AI; the upper back is hard to reach alone.
    situation = one_arm(precautions=frozenset({Precaution.FRAGILE_CHEST_SKIN}))
    assert refusal(situation).why is WhyNoRoute.NEEDS_HELPER
    helped = one_arm(
        precautions=frozenset({Precaution.FRAGILE_CHEST_SKIN}),
        options=Options(helper_available=True),
    )
    assert plan(helped).bridges == ("AI_R", "PAA")


def test_a_swollen_head_with_a_forbidden_neck_has_no_route() -> None:
    situation = Situation(
        (Affected(Region.HEAD_NECK, MIDLINE),), precautions=frozenset({Precaution.CAROTID_SINUS})
    )
    error = refusal(situation)
    assert error.why is WhyNoRoute.BLOCKED
    assert "brow_L" in error.regions


def test_genital_swelling_with_groins_treated_and_belly_forbidden_has_no_route() -> None:
    situation = Situation(
        (Affected(Region.GENITAL, MIDLINE),),
        frozenset({(Basin.GROIN, Side.LEFT), (Basin.GROIN, Side.RIGHT)}),
        precautions=frozenset({Precaution.ABDOMINAL_SURGERY}),
    )
    assert refusal(situation).why is WhyNoRoute.BLOCKED


def test_a_limb_without_node_damage_whose_limb_is_barred_leaves_nothing_to_do() -> None:
    situation = one_leg(
        basins_not_working=frozenset(), precautions=frozenset({Precaution.FRAGILE_LIMB_SKIN})
    )
    assert refusal(situation).why is WhyNoRoute.NOTHING_LEFT


def test_the_back_of_the_head_is_left_to_a_helper_but_the_face_is_not() -> None:
    # Map rule P11: strips hard to reach may be done by a helper or dropped. Nothing is moved there.
    basins = frozenset(product((Basin.CERVICAL, Basin.SUPRACLAV), Side))
    made = plan(Situation((Affected(Region.HEAD_NECK, MIDLINE),), basins))
    worked = {node for step in made.steps for node in step.nodes}
    assert "brow_R" in worked
    assert "scalp_back_R" not in worked
    assert any("scalp_back_R" in one.nodes for one in made.left_out)


@pytest.mark.parametrize(
    ("affected", "changes"),
    [
        ((), {}),
        ((Affected(Region.ARM, MIDLINE),), {}),
        ((Affected(Region.ARM, RIGHT),), {"forbidden_nodes": frozenset({"tail_R"})}),
    ],
)
def test_a_situation_that_cannot_be_is_refused(affected: tuple, changes: dict) -> None:
    with pytest.raises(SituationUnclear):
        Situation(affected, **changes)
