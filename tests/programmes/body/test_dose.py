"""Default counts and their ranges against the dose table of the care page, section 1.2."""

from dataclasses import replace

import pytest

from programmes.body.counting import count_for, minutes_of
from programmes.body.dose import DEFAULT_DOSE, SESSION_MIN, TAUGHT_DOSE, Count, Range
from programmes.body.errors import DoseOutOfRange
from programmes.body.planner import plan
from programmes.body.steps import Chapter, Step, Technique
from programmes.body.territory import territory_map
from tests.programmes.body.cases import one_arm, one_leg

# Care page 1.2: default, range seen (LEG, GEN, NI, RBR, RBA, MDA, NZ).
CARE_PAGE_1_2 = {
    "breaths": (5, Range(3, 5)),
    "neck": (10, Range(5, 15)),
    "collarbone_hollow": (5, Range(5, 15)),
    "basin": (10, Range(5, 15)),
    "trunk_strip": (5, Range(5, 10)),
    "limb_width": (5, Range(5, 15)),
    "finger_passes": (5, None),
    "times_a_day": (1, Range(1, 2)),
}
# "Eight to ten circles an area": common practice, no source.
AREAS = ("neck", "collarbone_hollow", "basin", "trunk_strip", "limb_width")


@pytest.mark.parametrize("name", CARE_PAGE_1_2)
def test_defaults_and_ranges_follow_the_care_page(name: str) -> None:
    count = DEFAULT_DOSE.counts()[name]
    assert (count.default, count.leaflets) == CARE_PAGE_1_2[name]


@pytest.mark.parametrize("name", AREAS)
def test_the_range_that_is_taught_stands_beside(name: str) -> None:
    assert DEFAULT_DOSE.counts()[name].taught == Range(8, 10)
    assert 8 <= TAUGHT_DOSE.counts()[name].default <= 10


def test_breaths_and_fingers_are_taught_as_four_to_five_and_about_five() -> None:
    # Common practice, no source.
    assert DEFAULT_DOSE.breaths.taught == Range(4, 5)
    assert DEFAULT_DOSE.finger_passes.default == 5


def test_either_range_is_accepted() -> None:
    assert DEFAULT_DOSE.breaths.allowed == Range(3, 5)
    assert DEFAULT_DOSE.trunk_strip.allowed == Range(5, 10)
    assert DEFAULT_DOSE.limb_width.allowed == Range(5, 15)


@pytest.mark.parametrize("default", [4, 16])
def test_a_default_outside_both_ranges_is_refused(default: int) -> None:
    with pytest.raises(DoseOutOfRange) as refused:
        replace(DEFAULT_DOSE.neck, default=default)
    assert (refused.value.low, refused.value.high) == (5, 15)


def test_a_clinic_that_prefers_another_count_plans_with_it() -> None:
    dose = replace(DEFAULT_DOSE, limb_width=replace(DEFAULT_DOSE.limb_width, default=7))
    steps = plan(one_arm(), dose=dose).steps
    assert {s.repetitions for s in steps if s.node in ("elbow_R", "forearm_R")} == {7}


@pytest.mark.parametrize("situation", [one_arm(), one_leg()])
def test_one_limb_takes_the_minutes_the_leaflets_give(situation: object) -> None:
    # LEG, GEN 15 to 20 min; NI 15 min; WOOD 20 min.
    low, high = SESSION_MIN
    assert low <= plan(situation).minutes <= high  # type: ignore[arg-type]


def test_minutes_grow_with_the_count_the_parts_and_the_places() -> None:
    world = territory_map()
    one = Step(Technique.CIRCLES, "groin_R", Chapter.RECEIVING, 10)
    both = replace(one, also=("groin_L",))
    # 10 stretches of 2 s (MDA) and 5 s to settle the hand: 25 s.
    assert minutes_of(one, DEFAULT_DOSE, world, repetitions=10) == pytest.approx(25 / 60)
    assert minutes_of(both, DEFAULT_DOSE, world, repetitions=10) == pytest.approx(50 / 60)
    assert minutes_of(one, DEFAULT_DOSE, world, repetitions=15) == pytest.approx(35 / 60)


def test_each_kind_of_step_has_its_own_setting() -> None:
    world = territory_map()
    kinds = {
        "supraclav_L": "collarbone_hollow",
        "cervical_R": "neck",
        "axilla_R": "basin",
        "chest_mid": "trunk_strip",
        "forearm_L": "limb_width",
        "fingers_L": "finger_passes",
        "cheek_L": "neck",
    }
    for node, name in kinds.items():
        step = Step(Technique.CIRCLES, node, Chapter.TRUNK, 5)
        assert count_for(step, DEFAULT_DOSE, world) == getattr(DEFAULT_DOSE, name)


def test_a_count_needs_a_source_or_says_it_has_none() -> None:
    assert all(isinstance(c, Count) and c.source for c in DEFAULT_DOSE.counts().values())
