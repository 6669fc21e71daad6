"""The order of a plan: worked orders, published sequences and the commonly taught order.

Published sequences are read through the care page (keys in section 0 there); each difference
between ours and theirs is named beside the test and held by it.
"""

import itertools
from collections.abc import Sequence

import pytest

from clinic.common.vocabulary import Basin, Precaution, Region, RegionSide, Side
from programmes.body.dose import TAUGHT_DOSE
from programmes.body.planner import Plan, plan
from programmes.body.situation import Affected, Options, Situation
from programmes.body.steps import Chapter, Technique
from tests.programmes.body.cases import (
    LEFT,
    MIDLINE,
    PUBLISHED,
    RIGHT,
    SCENARIOS,
    one_arm,
    one_leg,
    situation_of,
)

BREATHING = {"breathing"}
HOLLOWS = {"supraclav_L", "supraclav_R"}
NECK = HOLLOWS | {"cervical_L", "cervical_R"}


def first_visits(made: Plan) -> dict[str, int]:
    """Place -> index of the first step that works on it; breathing is a place of its own."""
    found: dict[str, int] = {}
    for index, step in enumerate(made.steps):
        for node in ("breathing",) if step.technique.is_breathing else step.nodes:
            found.setdefault(node, index)
    return found


def assert_order(made: Plan, *groups: set[str]) -> None:
    """Every place of a group is first worked on before any place of the next group."""
    first = first_visits(made)
    for earlier, later in itertools.pairwise(groups):
        assert max(first[n] for n in earlier) < min(first[n] for n in later), (earlier, later)


def last_steps(made: Plan, count: int) -> Sequence[str | None]:
    return [step.node for step in made.steps[-count:]]


# Worked orders of the territory map: the same moves, each place after those it drains to. Ours
# differs in three ways, all within the map rules: the strips of one bridge stay together instead
# of following the cost; a place drains one way where two are equal; and the limbs of both sides
# are worked one after the other, so that a limb is finished before the hands change sides.
@pytest.mark.parametrize("name", PUBLISHED["worked_orders"])
def test_the_worked_orders_hold_the_same_moves(name: str) -> None:
    worked = PUBLISHED["worked_orders"][name]
    scenario = next(one for one in SCENARIOS if one["id"] == name)
    made = plan(situation_of(scenario))
    ours = {step.path for step in made.steps if len(step.path) == 2}
    theirs = {(node, toward) for do, node, *ends in worked if do == "clear" for toward in ends}
    assert ours == theirs
    first = first_visits(made)
    for do, node, *ends in worked:
        if do == "clear":
            assert all(first[end] < first[node] for end in ends)
        else:
            assert made.steps[first[node]].chapter is Chapter.RECEIVING


def test_leg_leaflet_order() -> None:
    # LEG (hospice leaflet, left leg): breathing, neck and hollow, the working nodes, then up the
    # side of the trunk to the same-side armpit. Rule BP06: unaffected regions before the affected.
    # Difference: LEG uses the same-side armpit; we open the belly bridge too (map rule P10).
    made = plan(one_leg(Side.LEFT))
    assert_order(
        made,
        BREATHING,
        NECK,
        {"axilla_L", "groin_R"},
        {"flank_upper_L"},
        {"flank_lower_L"},
        {"hip_L"},
        {"thigh_outer_L"},
        {"knee_L"},
        {"lower_leg_L"},
        {"foot_L"},
    )
    assert ("flank_lower_L", "flank_upper_L") in {step.path for step in made.steps}


def test_genital_leaflet_order() -> None:
    # GEN (hospice leaflet): from the pubic triangle outward, then up to each armpit; ends with the
    # node areas and breathing again. Difference: GEN also works the low back, which a client alone
    # cannot reach and from which no genital place drains on our map; with a helper and the lower
    # trunk affected it is included (below).
    made = plan(
        Situation(
            (Affected(Region.GENITAL, MIDLINE),),
            frozenset({(Basin.GROIN, Side.LEFT), (Basin.GROIN, Side.RIGHT)}),
        )
    )
    assert_order(
        made,
        BREATHING,
        NECK,
        {"axilla_L", "axilla_R"},
        {"flank_upper_L", "flank_lower_L", "flank_upper_R", "flank_lower_R"},
        {"abdomen_mid"},
        {"genital"},
    )
    assert {("abdomen_mid", "flank_lower_L"), ("abdomen_mid", "flank_lower_R")} <= {
        step.path for step in made.steps
    }
    assert {"axilla_L", "axilla_R", "deep_abdomen"} <= set(last_steps(made, 5))


def test_genital_leaflet_low_back_comes_with_a_helper() -> None:
    both = (Affected(Region.TRUNK_LOWER, RIGHT), Affected(Region.TRUNK_LOWER, LEFT))
    made = plan(
        Situation(
            (Affected(Region.GENITAL, MIDLINE), *both),
            frozenset({(Basin.GROIN, Side.LEFT), (Basin.GROIN, Side.RIGHT)}),
            options=Options(helper_available=True),
        )
    )
    paths = {step.path for step in made.steps}
    assert {("lower_back_L", "flank_lower_L"), ("lower_back_R", "flank_lower_R")} <= paths


@pytest.mark.parametrize("side", Side)
def test_northern_ireland_arm_and_trunk_order(side: Side) -> None:
    # NI (arm and trunk leaflet): breathing, neck, hollow, working armpit, then the chest in three
    # sections toward that armpit, the far one first. Difference: NI does the side of the neck
    # before the hollow, we the hollow first, as is commonly taught; rule 2 takes both as one.
    near, far = side.value[0].upper(), side.other.value[0].upper()
    made = plan(one_arm(side))
    assert_order(
        made,
        BREATHING,
        NECK,
        {f"axilla_{far}"},
        {f"chest_{far}"},
        {"chest_mid"},
        {f"chest_{near}"},
        {f"shoulder_{near}"},
    )


def test_hospital_handout_right_breast_and_arm_order() -> None:
    # RBA (hospital handout): side of the trunk downward to the same-side groin; lower half of the
    # breast to the same-side groin; limb nearest the trunk first, then outward; end by repeating.
    # Difference: RBA repeats all steps in reverse; we repeat bridges, node areas and neck (rule 8).
    made = plan(
        Situation(
            (Affected(Region.ARM, RIGHT), Affected(Region.BREAST, RIGHT)),
            frozenset({(Basin.AXILLA, Side.RIGHT)}),
        )
    )
    assert_order(
        made,
        BREATHING,
        NECK,
        {"axilla_L", "groin_R"},
        {"flank_lower_R"},
        {"flank_upper_R"},
        {"breast_lower_R"},
        {"shoulder_R"},
        {"upper_arm_outer_R"},
        {"elbow_R"},
        {"forearm_R"},
        {"hand_R"},
        {"fingers_R"},
    )
    paths = {step.path for step in made.steps}
    assert ("breast_lower_R", "flank_upper_R") in paths
    assert ("flank_upper_R", "flank_lower_R", "groin_R") in paths


def test_cancer_centre_left_arm_order() -> None:
    # MDA (cancer centre, left arm): neck first, then the limb from the part nearest the trunk
    # outward, every stretch toward the trunk. Difference: MDA puts the neck before the breathing;
    # both are accepted (rule 1), ours breathes first as BP06, LEG and NI do.
    made = plan(one_arm(Side.LEFT))
    assert_order(
        made,
        NECK,
        {"axilla_R"},
        {"shoulder_L"},
        {"upper_arm_outer_L", "upper_arm_inner_L"},
        {"elbow_L"},
        {"forearm_L"},
        {"hand_L"},
    )
    ranks = {"shoulder_L": 1, "upper_arm_outer_L": 2, "upper_arm_inner_L": 3, "elbow_L": 4}
    for step in made.steps:
        if step.chapter is Chapter.LIMB and step.toward in ranks and step.node in ranks:
            assert ranks[step.toward] < ranks[step.node]


def test_public_answer_page_right_breast_order() -> None:
    # RBR (right breast): neck, working armpit, the chest strip by strip from the working side, the
    # upper half of the breast to the opposite armpit, the lower half to the same-side groin.
    # Difference: RBR takes 3 breaths and puts the neck first; see MDA.
    made = plan(
        Situation((Affected(Region.BREAST, RIGHT),), frozenset({(Basin.AXILLA, Side.RIGHT)}))
    )
    assert_order(
        made,
        NECK,
        {"axilla_L"},
        {"chest_L"},
        {"chest_mid"},
        {"chest_R"},
        {"breast_upper_R", "breast_lower_R"},
    )
    assert made.receiving == ("axilla_L", "groin_R")


def test_clinic_handout_puts_the_trunk_before_the_limb() -> None:
    # PORT (clinic handout, chest and arm) and RBR: trunk before limb.
    made = plan(one_arm())
    trunk = [i for i, s in enumerate(made.steps) if s.chapter is Chapter.BRIDGES]
    limb = [i for i, s in enumerate(made.steps) if s.chapter is Chapter.LIMB]
    assert max(trunk) < min(limb)


def test_head_and_neck_pamphlet_names_the_armpits_as_target() -> None:
    # HNK (cancer centre pamphlet, face, head, neck): the armpits take the fluid; routes are from
    # memory, not re-read.
    scenario = next(one for one in SCENARIOS if one["id"] == "head_neck_both")
    assert plan(situation_of(scenario)).receiving == ("axilla_L", "axilla_R")


def test_hospice_page_leaves_the_swollen_limb_to_the_therapist() -> None:
    # WOOD (hospice page): some services teach only the unswollen areas; a switch.
    made = plan(one_arm(options=Options(limb_by_therapist_only=True)))
    assert not [step for step in made.steps if step.chapter in (Chapter.LIMB, Chapter.SWEEP)]
    assert made.bridges == ("AAA", "AI_R")
    assert any("therapist does the arm" in one.plain for one in made.left_out)


def taught_order(near: str, far: str) -> list[str]:
    """One arm, same-side armpit treated, as it is commonly taught.

    Common practice, no source. Each entry is one item of the teaching; "across" and "down the
    side" are the long strokes over a bridge.
    """
    return [
        "breathing",
        "hollows",
        "neck",
        f"axilla_{far}",
        f"axilla_{near}",
        f"groin_{near}",
        "bridge over the breastbone, over and under the far breast",
        f"chest_{near}",
        f"axilla_{near}",
        f"side of the trunk {near}",
        f"upper arm {near}",
        f"elbow_{near}",
        f"forearm_{near}",
        f"hand_{near}",
        f"fingers_{near}",
        "long strokes",
        "across",
        "down the side",
        "neck",
        "breathing",
    ]


def taught_item(step: object, near: str, far: str) -> str:
    if step.technique.is_breathing:
        return "breathing"
    if step.technique is Technique.SWEEP:
        return "long strokes"
    if len(step.path) > 2:
        return "across" if "chest_mid" in step.path else "down the side"
    items = {
        f"supraclav_{far}": "hollows",
        f"cervical_{far}": "neck",
        "chest_mid": "bridge over the breastbone, over and under the far breast",
        f"chest_{far}": "bridge over the breastbone, over and under the far breast",
        f"flank_lower_{near}": f"side of the trunk {near}",
        f"flank_upper_{near}": f"side of the trunk {near}",
        f"upper_arm_inner_{near}": f"upper arm {near}",
        f"upper_arm_outer_{near}": f"upper arm {near}",
    }
    return items.get(step.node, step.node)


@pytest.mark.parametrize("side", Side)
def test_one_arm_keeps_the_commonly_taught_order(side: Side) -> None:
    """Common practice, no source. The differences, each with its ground:

    - inside the bridge and the side of the trunk the strip nearest the working nodes comes first
      (NI, RBR; map rule P5), so that no fluid meets an uncleared strip;
    - the shoulder cap is a step of its own: the upper arm has to drain into a cleared place;
    - the outside of the upper arm comes before the inside, which drains round to it;
    - the receiving basins are circled once more before the neck (GEN; map rule P9);
    - the hollows are repeated with the neck.
    """
    near, far = side.value[0].upper(), side.other.value[0].upper()
    steps = list(plan(one_arm(side)).steps)
    sweep = max(i for i, s in enumerate(steps) if s.technique is Technique.SWEEP)
    extra = {f"axilla_{far}", f"groin_{near}", f"supraclav_{far}"}
    kept = [
        taught_item(step, near, far)
        for i, step in enumerate(steps)
        if step.node != f"shoulder_{near}" and not (i > sweep and step.node in extra)
    ]
    collapsed = [item for i, item in enumerate(kept) if i == 0 or item != kept[i - 1]]
    assert collapsed == taught_order(near, far)


def test_the_taught_counts_and_parts_are_kept_for_one_arm() -> None:
    # Common practice, no source: 4 to 5 breaths, 8 to 10 circles an area, about 5 passes a finger,
    # the closing strokes 4 to 5 times; elbow and forearm front and back; wrist, back of the hand,
    # between the bones; fingers front, back and sides; above and below the breast.
    steps = plan(one_arm(), dose=TAUGHT_DOSE).steps
    by_node = {step.node: step for step in steps}
    for step in steps:
        if step.technique.is_breathing or (len(step.path) > 2 and step.chapter is Chapter.AGAIN):
            assert 4 <= step.repetitions <= 5
        elif step.technique in (Technique.CIRCLES, Technique.BRIDGING):
            assert 8 <= step.repetitions <= 10
    assert by_node["fingers_R"].repetitions == 5
    assert by_node["elbow_R"].parts == by_node["forearm_R"].parts == ("front", "back")
    assert by_node["hand_R"].parts == ("wrist", "back_of_hand", "between_bones")
    assert next(s for s in steps if s.node == "fingers_R").parts == ("front", "back", "sides")
    assert next(s for s in steps if s.node == "chest_L").parts == ("above", "below")
    assert next(s for s in steps if s.node == "cervical_L").parts == ("side", "behind_ear")


def test_the_treated_armpit_is_circled_in_its_place_and_is_no_destination() -> None:
    # Common practice, no source.
    steps = plan(one_arm()).steps
    circles = [s for s in steps if s.node == "axilla_R"]
    assert len(circles) == 2
    assert all(s.technique is Technique.CIRCLES and not s.path for s in circles)
    assert not [s for s in steps if s.toward == "axilla_R"]


def test_a_region_at_risk_is_planned_like_a_swollen_one() -> None:
    # Common practice, no source: "preventive as well as treating".
    swollen = one_arm()
    at_risk = one_arm(affected=(Affected(Region.ARM, RIGHT, "at_risk"),))
    assert plan(at_risk).steps == plan(swollen).steps


def test_the_side_named_first_is_done_first() -> None:
    basins = frozenset({(Basin.AXILLA, Side.LEFT), (Basin.AXILLA, Side.RIGHT)})
    for first, then in ((LEFT, RIGHT), (RIGHT, LEFT)):
        made = plan(Situation((Affected(Region.ARM, first), Affected(Region.ARM, then)), basins))
        assert_order(
            made, {f"fingers_{first.value[0].upper()}"}, {f"shoulder_{then.value[0].upper()}"}
        )


def test_without_the_neck_the_programme_begins_with_breathing_and_goes_on() -> None:
    made = plan(one_arm(precautions=frozenset({Precaution.CAROTID_DISEASE})))
    assert not NECK & first_visits(made).keys()
    assert made.steps[0].technique is Technique.BELLY_BREATHING
    assert any("neck" in one.plain for one in made.left_out)


def test_without_the_deep_belly_breathing_stays_and_the_hands_leave() -> None:
    made = plan(one_leg(precautions=frozenset({Precaution.PREGNANCY})))
    assert made.steps[0].technique is made.steps[-1].technique is Technique.EASY_BREATHING
    assert made.steps[0].node is None
    assert made.bridges == ("AII", "IA_L")


def test_without_the_belly_the_leg_drains_up_the_side() -> None:
    made = plan(one_leg(precautions=frozenset({Precaution.ABDOMINAL_SURGERY})))
    assert made.bridges == ("IA_L",)
    assert made.receiving == ("axilla_L",)


def test_regions_may_be_named_for_both_sides_of_the_head() -> None:
    whole = plan(Situation((Affected(Region.HEAD_NECK, MIDLINE),)))
    right = plan(Situation((Affected(Region.HEAD_NECK, RegionSide.RIGHT),)))
    assert "brow_L" in first_visits(whole)
    assert "brow_L" not in first_visits(right)
