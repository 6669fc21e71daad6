"""The programme of a mirrored body is the mirrored programme, words and all."""

import re
from dataclasses import replace
from itertools import product

import pytest

from clinic.common.vocabulary import Precaution, Side
from programmes.body.errors import NoSafeRoute
from programmes.body.planner import Plan, plan
from programmes.body.situation import Affected, Options, Situation
from programmes.body.steps import Step
from tests.programmes.body.cases import (
    AFFECTED,
    LIMB_BASINS,
    SCENARIOS,
    situation_of,
    subsets,
)

SWAP = {"left": "right", "right": "left", "_L": "_R", "_R": "_L"}


def in_mirror(text: str) -> str:
    """Left for right, in words and at the end of map ids."""
    return re.sub(r"\b(left|right)\b|_[LR]\b", lambda found: SWAP[found[0]], text)


def step_in_mirror(step: Step) -> Step:
    words = ("place", "direction", "hand", "position", "why")
    return replace(
        step,
        node=in_mirror(step.node) if step.node else None,
        path=tuple(in_mirror(node) for node in step.path),
        also=tuple(in_mirror(node) for node in step.also),
        **{name: in_mirror(getattr(step, name)) for name in words},
    )


def outcome(situation: Situation) -> Plan | str:
    try:
        return plan(situation)
    except NoSafeRoute as refusal:
        return refusal.why


def assert_mirrored(situation: Situation) -> None:
    made, twin = outcome(situation), outcome(situation.mirrored())
    if isinstance(made, str) or isinstance(twin, str):
        assert made == twin
        return
    assert twin.steps == tuple(step_in_mirror(step) for step in made.steps)
    assert twin.bridges == tuple(in_mirror(code) for code in made.bridges)
    assert set(twin.receiving) == {in_mirror(node) for node in made.receiving}
    assert [one.plain for one in twin.left_out] == [in_mirror(one.plain) for one in made.left_out]


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario["id"])
def test_each_published_situation_is_mirrored(scenario: dict) -> None:
    assert_mirrored(replace(situation_of(scenario), first_side=Side.RIGHT))


@pytest.mark.parametrize("name", AFFECTED)
@pytest.mark.parametrize("helper", [False, True])
def test_every_affected_region_and_treated_basin_is_mirrored(name: str, helper: bool) -> None:
    affected = tuple(Affected(region, side) for region, side in AFFECTED[name])
    bare = frozenset[Precaution]()
    belly = frozenset({Precaution.ABDOMINAL_SURGERY})
    chest = frozenset({Precaution.FRAGILE_CHEST_SKIN})
    for basins, words in product(subsets(LIMB_BASINS), (bare, belly, chest)):
        assert_mirrored(
            Situation(
                affected,
                frozenset(basins),
                precautions=words,
                options=Options(helper_available=helper),
                first_side=Side.LEFT,
            )
        )


def test_a_mirror_seen_in_a_mirror_is_the_body_itself() -> None:
    for scenario in SCENARIOS:
        situation = situation_of(scenario)
        assert situation.mirrored().mirrored() == situation


def test_a_programme_for_the_right_differs_from_that_for_the_left() -> None:
    right, left = (situation_of(SCENARIOS[i]) for i in (0, 8))
    assert left == right.mirrored()
    assert plan(right).steps != plan(left).steps
