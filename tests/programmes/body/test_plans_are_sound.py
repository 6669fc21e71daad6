"""Exhaustive: every planned programme passes the validator and touches nothing forbidden."""

from collections.abc import Iterator
from dataclasses import replace
from itertools import product

import pytest

from clinic.common.vocabulary import Precaution, Region, Side
from programmes.body.errors import NoSafeRoute
from programmes.body.planner import plan
from programmes.body.precautions import EFFECTS, Level
from programmes.body.situation import Affected, Options, Situation
from programmes.body.territory import territory_map
from programmes.body.validator import violations
from tests.programmes.body.cases import (
    AFFECTED,
    LIMB_BASINS,
    NECK_SETS,
    OPTIONS,
    SCENARIOS,
    situation_of,
    subsets,
)
from tests.programmes.body.test_precautions import CARE_PAGE

# Care page 2 and the map's rules: what a hand may not touch, by region of the map.
REGIONS_BARRED = {
    "NECK": ("neck",),
    "ABD": ("abdomen_deep",),
    "ABD-S": ("abdomen_surface",),
    "LIMB": ("arm", "leg"),
}
# One precaution for each local effect, and the two bellies and the neck together.
LOCAL_SETS = tuple(
    frozenset(words)
    for words in (
        (),
        (Precaution.CAROTID_DISEASE,),
        (Precaution.PREGNANCY,),
        (Precaution.ABDOMINAL_SURGERY,),
        (Precaution.CAROTID_DISEASE, Precaution.ABDOMINAL_SURGERY),
        (Precaution.FRAGILE_LIMB_SKIN,),
        (Precaution.FRAGILE_CHEST_SKIN,),
        (Precaution.FRAGILE_CHEST_SKIN, Precaution.NECK_MASS, Precaution.PREGNANCY),
    )
)


def forbidden(situation: Situation) -> set[str]:
    """Places that may not be touched, worked out from the care page and not from the planner."""
    blocks = {
        block
        for word in situation.precautions - situation.cleared
        for block in CARE_PAGE[word][1].split()
    }
    places = territory_map().places.values()
    found = {
        place.id
        for block in blocks
        for region in REGIONS_BARRED.get(block, ())
        for place in places
        if place.region == region
    }
    if "CHEST" in blocks:
        found |= {node for side in _treated_chests(situation) for node in _chest(side)}
    return found | situation.forbidden_nodes


def _treated_chests(situation: Situation) -> list[Side]:
    upper = (Region.ARM, Region.BREAST, Region.TRUNK_UPPER)
    treated = {side for basin, side in situation.basins_not_working if basin == "axilla"}
    sides = {s for s in Side if situation.affects(s, *upper)} | treated
    return list(sides or Side)


def _chest(side: Side) -> set[str]:
    letter = "L" if side is Side.LEFT else "R"
    return {f"{stem}_{letter}" for stem in ("chest", "breast_upper", "breast_lower")}


def assert_sound(situations: Iterator[Situation]) -> tuple[int, int]:
    """Plan each; count the programmes given and refused."""
    given = refused = 0
    for situation in situations:
        try:
            made = plan(situation)
        except NoSafeRoute:
            refused += 1
            continue
        given += 1
        assert violations(made.steps, situation) == (), situation
        touched = {node for step in made.steps for node in step.touched}
        assert not touched & forbidden(situation), situation
    return given, refused


@pytest.mark.parametrize("helper", [False, True])
@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario["id"])
def test_every_published_situation_with_every_precaution(scenario: dict, helper: bool) -> None:
    plain = situation_of(scenario, helper=helper)
    situations = (
        replace(plain, precautions=plain.precautions | {word}, cleared=frozenset(cleared))
        for word in Precaution
        for cleared in ((), (word,))
    )
    given, refused = assert_sound(situations)
    assert given + refused == 2 * len(Precaution)
    # A barring precaution never lets a programme through: 8 absolute twice, 4 relative once.
    assert refused >= 8 * 2 + 4


@pytest.mark.parametrize("precautions", LOCAL_SETS, ids=lambda words: "+".join(sorted(words)))
def test_every_affected_region_every_treated_basin_every_local_effect(
    precautions: frozenset[Precaution],
) -> None:
    given, refused = assert_sound(
        Situation(
            tuple(Affected(region, side) for region, side in affected),
            frozenset(basins),
            precautions=precautions,
            options=Options(helper_available=helper),
        )
        for affected, basins, helper in product(
            AFFECTED.values(), subsets(LIMB_BASINS), (False, True)
        )
    )
    assert given + refused == len(AFFECTED) * 16 * 2
    assert given > 0


@pytest.mark.parametrize("options", OPTIONS, ids=lambda options: str(options)[8:-1])
def test_every_affected_region_with_every_option_and_treated_neck(options: Options) -> None:
    given, refused = assert_sound(
        Situation(
            tuple(Affected(region, side) for region, side in affected),
            frozenset((*basins, *neck)),
            options=options,
        )
        for affected, basins, neck in product(
            AFFECTED.values(), list(subsets(LIMB_BASINS))[::3], NECK_SETS
        )
    )
    assert given + refused == len(AFFECTED) * 6 * len(NECK_SETS)
    assert given > 0


def test_no_place_named_by_the_clinician_is_ever_touched() -> None:
    places = [place for place in territory_map().places if not place.startswith("venous")]
    given, _ = assert_sound(
        replace(situation_of(scenario), forbidden_nodes=frozenset({place}))
        for scenario in SCENARIOS[:6]
        for place in places
    )
    assert given > len(places)


def test_every_local_effect_has_its_precautions_in_the_exhaustive_run() -> None:
    words = frozenset().union(*LOCAL_SETS)
    covered = {block for word in words for block in EFFECTS[word].blocks}
    local = {
        block
        for effect in EFFECTS.values()
        for block in effect.blocks
        if "all_steps" not in effect.blocks and effect.level is not Level.RELATIVE
    }
    assert local - covered == {"compression"}
