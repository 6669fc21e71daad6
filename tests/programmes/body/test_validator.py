"""Each kind of violation is reported with its step and a sentence."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from clinic.common.vocabulary import Basin, Precaution, Side
from programmes.body.dose import DEFAULT_DOSE
from programmes.body.planner import plan
from programmes.body.situation import Options, Situation
from programmes.body.steps import Chapter, Step, Technique
from programmes.body.validator import Fault, Violation, violations
from tests.programmes.body.cases import one_arm, one_leg

ARM = one_arm()
STEPS = plan(ARM).steps


def index_of(node: str, steps: tuple[Step, ...] = STEPS) -> int:
    """Index of the first step that works on a place."""
    return next(i for i, step in enumerate(steps) if step.node == node)


def moved(steps: tuple[Step, ...], start: int, end: int) -> tuple[Step, ...]:
    rest = list(steps)
    rest.insert(end, rest.pop(start))
    return tuple(rest)


def without(steps: tuple[Step, ...], *indices: int) -> tuple[Step, ...]:
    return tuple(step for i, step in enumerate(steps) if i not in indices)


def found(steps: tuple[Step, ...], situation: Situation = ARM) -> dict[Fault, Violation]:
    """The first violation of each kind."""
    first: dict[Fault, Violation] = {}
    for violation in violations(steps, situation):
        first.setdefault(violation.fault, violation)
    return first


def test_a_planned_programme_has_no_violation() -> None:
    assert violations(STEPS, ARM) == ()


def test_fluid_into_an_uncleared_place_is_named_at_its_step() -> None:
    # Care page rule 9 (RBR): never push fluid into an area not yet cleared.
    middle = index_of("chest_mid")
    steps = without(STEPS, index_of("chest_L"))
    violation = found(steps)[Fault.UNCLEARED]
    assert violation.index == middle - 1
    assert "left front upper quarter of the trunk" in violation.sentence


def test_one_missing_step_is_reported_once_and_not_at_every_step_after() -> None:
    # The far chest is missing for the strip, and for the stroke over the whole bridge at the end.
    faults = violations(without(STEPS, index_of("chest_L")), ARM)
    assert [one.fault for one in faults] == [Fault.UNCLEARED, Fault.UNCLEARED]


def test_a_basin_must_be_circled_before_it_takes_fluid() -> None:
    steps = without(STEPS, index_of("axilla_L"))
    violation = found(steps)[Fault.UNPREPARED]
    assert steps[violation.index or 0].node == "chest_L"


@pytest.mark.parametrize("path", [("chest_R", "axilla_R"), ("shoulder_R", "axilla_R")])
def test_a_stroke_that_ends_in_the_treated_armpit_is_reported(path: tuple[str, ...]) -> None:
    step = Step(Technique.CIRCLES, path[0], Chapter.TRUNK, 5, path=path)
    at = index_of("shoulder_R") + 1
    violation = found((*STEPS[:at], step, *STEPS[at:]))[Fault.NOT_WORKING]
    assert violation.index == at
    assert "right armpit nodes" in violation.sentence


def test_circles_on_the_treated_armpit_in_its_place_are_sound() -> None:
    # Common practice, no source.
    circles = Step(Technique.CIRCLES, "axilla_R", Chapter.TRUNK, 10)
    at = index_of("shoulder_R")
    assert violations((*STEPS[:at], circles, *STEPS[at:]), ARM) == ()


def test_strokes_into_a_treated_armpit_set_to_working_are_sound() -> None:
    # Suami et al. 2019: the clinician may set a treated armpit to working.
    armpit = frozenset({(Basin.AXILLA, Side.RIGHT)})
    trusted = replace(ARM, basins_set_working=armpit)
    steps = plan(trusted).steps
    assert ("shoulder_R", "axilla_R") in {step.path for step in steps}
    assert violations(steps, trusted) == ()
    assert Fault.NOT_WORKING in found(steps, ARM)


@pytest.mark.parametrize(
    ("precaution", "node"),
    [
        (Precaution.CAROTID_DISEASE, "supraclav_L"),
        (Precaution.PREGNANCY, "deep_abdomen"),
        (Precaution.FRAGILE_LIMB_SKIN, "elbow_R"),
        (Precaution.FRAGILE_CHEST_SKIN, "chest_R"),
    ],
)
def test_a_region_forbidden_by_a_precaution_is_named(precaution: Precaution, node: str) -> None:
    situation = replace(ARM, precautions=frozenset({precaution}))
    faults = violations(STEPS, situation)
    at = {one.index for one in faults if one.fault is Fault.FORBIDDEN}
    assert index_of(node) in at


def test_a_stroke_that_only_passes_a_forbidden_place_is_reported() -> None:
    situation = replace(ARM, forbidden_nodes=frozenset({"chest_mid"}))
    across = next(i for i, step in enumerate(STEPS) if len(step.path) == 4)
    at = {one.index for one in violations(STEPS, situation) if one.fault is Fault.FORBIDDEN}
    assert at == {index_of("chest_mid"), index_of("chest_R"), across}


def test_a_limb_step_dragged_before_the_trunk_is_reported() -> None:
    # Care page rule 5 (PORT, RBR): trunk before limb.
    steps = moved(STEPS, index_of("shoulder_R"), index_of("chest_L"))
    violation = found(steps)[Fault.LIMB_BEFORE_TRUNK]
    assert steps[violation.index or 0].node == "shoulder_R"


def test_a_trunk_step_dragged_behind_the_limb_is_reported() -> None:
    steps = moved(STEPS, index_of("flank_upper_R"), index_of("fingers_R"))
    violation = found(steps)[Fault.LIMB_BEFORE_TRUNK]
    assert steps[violation.index or 0].node == "flank_upper_R"


def test_a_limb_is_worked_from_the_root_outward() -> None:
    # Care page rule 6 (BP06, MDA, RBA).
    steps = moved(STEPS, index_of("upper_arm_inner_R"), index_of("elbow_R"))
    violation = found(steps)[Fault.LIMB_ORDER]
    assert steps[violation.index or 0].node == "upper_arm_inner_R"
    assert "elbow" in violation.sentence


def test_long_strokes_before_the_limb_is_cleared_are_reported() -> None:
    sweep = next(i for i, s in enumerate(STEPS) if s.technique is Technique.SWEEP)
    steps = moved(STEPS, sweep, index_of("hand_R"))
    violation = found(steps)[Fault.SWEEP_EARLY]
    assert steps[violation.index or 0].technique is Technique.SWEEP
    assert "right back of hand" in violation.sentence


def test_long_strokes_that_lead_nowhere_are_reported() -> None:
    step = Step(Technique.SWEEP, "fingers_R", Chapter.SWEEP, 5)
    at = index_of("fingers_R") + 1
    assert Fault.SWEEP_EARLY in found((*STEPS[:at], step, *STEPS[at:]))


def test_a_limb_without_long_strokes_is_reported() -> None:
    # Care page rule 7: common practice, no source.
    sweeps = [i for i, s in enumerate(STEPS) if s.technique is Technique.SWEEP]
    violation = found(without(STEPS, *sweeps))[Fault.NO_SWEEP]
    assert "right arm" in violation.sentence


def last(node: str) -> int:
    return max(i for i, step in enumerate(STEPS) if step.node == node)


@pytest.mark.parametrize(
    ("missing", "words"),
    [
        (lambda: last("deep_abdomen"), "breathing"),
        (lambda: last("axilla_L"), "left armpit nodes"),
        (lambda: last("groin_R"), "right groin nodes"),
        (lambda: last("chest_R"), "bridge"),
        (lambda: last("flank_upper_R"), "bridge"),
    ],
)
def test_a_missing_closing_step_is_reported(missing: Callable[[], int], words: str) -> None:
    # Care page rule 8 (GEN, RBA); map rule P9.
    violation = found(without(STEPS, missing()))[Fault.NO_CLOSING]
    assert words in violation.sentence


@pytest.mark.parametrize(
    ("index", "words"), [(0, "breathing"), (1, "collarbone"), (2, "neck nodes")]
)
def test_a_missing_opening_step_is_reported_at_the_step_that_comes_too_soon(
    index: int, words: str
) -> None:
    # Care page rules 1 and 2 (BP06, LEG, NI, MDA).
    violation = found(without(STEPS, index))[Fault.NO_OPENING]
    assert words in violation.sentence
    assert violation.index == 2


def test_neck_before_breathing_is_accepted() -> None:
    # MDA and RBR put the neck first; both are accepted (care page rule 1).
    assert violations(moved(STEPS, 0, 2), ARM) == ()


@pytest.mark.parametrize("name", sorted(DEFAULT_DOSE.counts().keys() - {"times_a_day"}))
def test_counts_outside_both_ranges_are_reported(name: str) -> None:
    allowed = DEFAULT_DOSE.counts()[name].allowed
    node = {
        "breaths": "deep_abdomen",
        "neck": "cervical_L",
        "collarbone_hollow": "supraclav_L",
        "basin": "groin_R",
        "trunk_strip": "chest_mid",
        "limb_width": "forearm_R",
        "finger_passes": "fingers_R",
        "sweep": next(i for i, s in enumerate(STEPS) if s.technique is Technique.SWEEP),
        "bridge_again": next(i for i, s in enumerate(STEPS) if len(s.path) == 4),
    }[name]
    at = node if isinstance(node, int) else index_of(node)
    for count, fault in (
        (allowed.low - 1, Fault.TOO_FEW),
        (allowed.low, None),
        (allowed.high, None),
        (allowed.high + 1, Fault.TOO_MANY),
    ):
        steps = (*STEPS[:at], replace(STEPS[at], repetitions=count), *STEPS[at + 1 :])
        faults = violations(steps, ARM)
        assert [(one.fault, one.index) for one in faults] == ([(fault, at)] if fault else [])


def test_a_bridge_used_both_ways_is_reported() -> None:
    # Map rule P7.
    back = Step(Technique.BRIDGING, "chest_mid", Chapter.BRIDGES, 5, path=("chest_mid", "chest_R"))
    at = index_of("chest_R") + 1
    violation = found((*STEPS[:at], back, *STEPS[at:]))[Fault.BOTH_WAYS]
    assert violation.index == at


def test_fluid_moved_back_where_it_came_from_is_reported() -> None:
    # Proof rule (c): the moves have no cycle.
    out, back = ("chest_R", "flank_upper_R"), ("flank_upper_R", "chest_R")
    at = index_of("shoulder_R")
    circles = [
        Step(Technique.CIRCLES, path[0], Chapter.TRUNK, 5, path=path) for path in (out, back)
    ]
    violation = found((*STEPS[:at], *circles, *STEPS[at:]))[Fault.MOVED_BACK]
    assert violation.index == at + 1


def test_a_lesser_route_must_be_switched_on() -> None:
    step = Step(Technique.CIRCLES, "chest_R", Chapter.TRUNK, 5, path=("chest_R", "supraclav_R"))
    at = index_of("shoulder_R")
    steps = (*STEPS[:at], step, *STEPS[at:])
    assert found(steps)[Fault.CLINICIAN_ONLY].index == at
    switched = replace(ARM, options=Options(lesser_routes=True))
    assert Fault.CLINICIAN_ONLY not in found(steps, switched)


@pytest.mark.parametrize("path", [("fingers_R", "chest_R"), ("groin_R", "deep_abdomen")])
def test_a_stroke_along_no_way_of_the_map_is_reported(path: tuple[str, ...]) -> None:
    at = index_of("fingers_R") + 1
    step = Step(Technique.CIRCLES, path[0], Chapter.LIMB, 5, path=path)
    assert found((*STEPS[:at], step, *STEPS[at:]))[Fault.NO_WAY].index == at


def test_a_place_that_is_not_on_the_map_is_reported() -> None:
    step = Step(Technique.CIRCLES, "tail_R", Chapter.LIMB, 5)
    assert found((*STEPS[:3], step, *STEPS[3:]))[Fault.NO_WAY].index == 3


@pytest.mark.parametrize("precaution", [Precaution.ACUTE_CLOT, Precaution.ACTIVE_CANCER])
def test_a_barring_precaution_is_said_for_the_whole_programme(precaution: Precaution) -> None:
    situation = replace(ARM, precautions=frozenset({precaution}))
    first, *_ = violations(STEPS, situation)
    assert (first.fault, first.index) == (Fault.BARRED, None)


def test_a_sheet_for_the_other_side_is_caught() -> None:
    """The purpose of the package: a sheet made for somebody else's side does not pass."""
    faults = {one.fault for one in violations(plan(one_arm(Side.LEFT)).steps, ARM)}
    assert Fault.NOT_WORKING in faults


def test_a_sheet_for_a_leg_is_caught_when_the_other_groin_was_treated_too() -> None:
    both = one_leg(
        basins_not_working=frozenset({(Basin.GROIN, Side.LEFT), (Basin.GROIN, Side.RIGHT)})
    )
    faults = {one.fault for one in violations(plan(one_leg()).steps, both)}
    assert Fault.NOT_WORKING in faults


def test_nothing_at_all_is_no_programme() -> None:
    assert {one.fault for one in violations((), ARM)} == {Fault.NO_OPENING, Fault.NO_CLOSING}


def test_every_sentence_is_a_sentence() -> None:
    steps = tuple(reversed(STEPS))
    for violation in violations(steps, replace(ARM, precautions=frozenset(Precaution))):
        assert violation.sentence[0].isupper()
        assert violation.sentence.endswith(".")
        assert "_" not in violation.sentence
