"""Situations of many bodies, for the tests of this folder."""

import json
from collections.abc import Iterator
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

from clinic.common.vocabulary import Basin, Precaution, Region, RegionSide, Side
from programmes.body.situation import Affected, Options, Situation

RIGHT, LEFT, MIDLINE = RegionSide.RIGHT, RegionSide.LEFT, RegionSide.MIDLINE
PUBLISHED = json.loads(
    (Path(__file__).parent / "published" / "scenarios.json").read_text(encoding="utf-8")
)
SCENARIOS: list[dict[str, Any]] = PUBLISHED["scenarios"]
# The map region whose presence among the swollen places names the affected region.
REGION_OF_STEM = {
    "shoulder": Region.ARM,
    "hip": Region.LEG,
    "breast_upper": Region.BREAST,
    "chest": Region.TRUNK_UPPER,
    "genital": Region.GENITAL,
    "neck_side": Region.HEAD_NECK,
}
# Precautions that stand for a region left out in the scenario list.
PRECAUTION_OF_REGION = {
    "neck": Precaution.NECK_MASS,
    "abdomen_surface": Precaution.ABDOMINAL_SURGERY,
}


def side_of(node: str) -> Side:
    return Side.RIGHT if node.endswith("_R") else Side.LEFT


def stem_of(node: str) -> str:
    return node[:-2] if node[-2:] in ("_L", "_R") else node


def basin_of(node: str) -> tuple[Basin, Side]:
    return Basin(stem_of(node)), side_of(node)


def situation_of(scenario: dict[str, Any], *, helper: bool = True) -> Situation:
    """The situation that one entry of the scenario list describes."""
    blocked = scenario.get("blocked_regions", [])
    return Situation(
        affected=tuple(_affected(scenario["swollen"])),
        basins_not_working=frozenset(basin_of(node) for node in scenario["basins_not_working"]),
        precautions=frozenset(
            PRECAUTION_OF_REGION[region] for region in blocked if region in PRECAUTION_OF_REGION
        ),
        forbidden_nodes=frozenset(scenario.get("blocked_nodes", [])),
        options=Options(
            helper_available=helper, lesser_routes=scenario.get("needs_therapist_only", False)
        ),
    )


def _affected(swollen: list[str]) -> Iterator[Affected]:
    for node in swollen:
        region = REGION_OF_STEM.get(stem_of(node))
        if region is Region.GENITAL:
            yield Affected(region, MIDLINE)
        elif region is not None:
            yield Affected(region, RegionSide(side_of(node).value))


def one_arm(side: Side = Side.RIGHT, **changes: Any) -> Situation:
    """One arm, armpit of the same side treated."""
    situation = Situation(
        affected=(Affected(Region.ARM, RegionSide(side.value)),),
        basins_not_working=frozenset({(Basin.AXILLA, side)}),
    )
    return replace(situation, **changes)


def one_leg(side: Side = Side.LEFT, **changes: Any) -> Situation:
    """One leg, groin of the same side treated."""
    situation = Situation(
        affected=(Affected(Region.LEG, RegionSide(side.value)),),
        basins_not_working=frozenset({(Basin.GROIN, side)}),
    )
    return replace(situation, **changes)


# What may be affected, written for the right side where it has one.
AFFECTED = {
    "one arm": ((Region.ARM, RIGHT),),
    "both arms": ((Region.ARM, RIGHT), (Region.ARM, LEFT)),
    "breast": ((Region.BREAST, RIGHT),),
    "trunk": ((Region.TRUNK_UPPER, RIGHT),),
    "arm and breast": ((Region.ARM, RIGHT), (Region.BREAST, RIGHT)),
    "arm, breast and trunk": (
        (Region.ARM, RIGHT),
        (Region.BREAST, RIGHT),
        (Region.TRUNK_UPPER, RIGHT),
    ),
    "one leg": ((Region.LEG, RIGHT),),
    "both legs": ((Region.LEG, RIGHT), (Region.LEG, LEFT)),
    "leg and lower trunk": ((Region.LEG, RIGHT), (Region.TRUNK_LOWER, RIGHT)),
    "genital": ((Region.GENITAL, MIDLINE),),
    "leg and genital": ((Region.LEG, RIGHT), (Region.GENITAL, MIDLINE)),
    "head and neck": ((Region.HEAD_NECK, MIDLINE),),
    "one side of the neck": ((Region.HEAD_NECK, RIGHT),),
    "arm and neck": ((Region.ARM, RIGHT), (Region.HEAD_NECK, RIGHT)),
    "arm and leg": ((Region.ARM, RIGHT), (Region.LEG, RIGHT)),
    "arm and other leg": ((Region.ARM, RIGHT), (Region.LEG, LEFT)),
    "all limbs": (
        (Region.ARM, RIGHT),
        (Region.ARM, LEFT),
        (Region.LEG, RIGHT),
        (Region.LEG, LEFT),
    ),
}
ALL_BASINS = tuple(product(Basin, Side))
# Every set of treated armpits and groins, alone and with the neck nodes of one or both sides.
LIMB_BASINS = tuple(product((Basin.AXILLA, Basin.GROIN), Side))
NECK_SETS: tuple[tuple[tuple[Basin, Side], ...], ...] = (
    (),
    ((Basin.SUPRACLAV, Side.RIGHT),),
    ((Basin.CERVICAL, Side.RIGHT), (Basin.SUPRACLAV, Side.RIGHT)),
    tuple(product((Basin.CERVICAL, Basin.SUPRACLAV), Side)),
)
OPTIONS = tuple(
    Options(helper_available=helper, lesser_routes=lesser, limb_by_therapist_only=therapist)
    for helper, lesser, therapist in product((False, True), repeat=3)
)


def subsets(items: tuple[Any, ...]) -> Iterator[tuple[Any, ...]]:
    for picks in product((False, True), repeat=len(items)):
        yield tuple(item for item, picked in zip(items, picks, strict=True) if picked)


def all_situations() -> Iterator[Situation]:
    """Every affected set x treated armpits and groins x neck nodes x options, no precaution."""
    for affected, limb_basins, neck, options in product(
        AFFECTED.values(), subsets(LIMB_BASINS), NECK_SETS, OPTIONS
    ):
        yield Situation(
            affected=tuple(Affected(region, side) for region, side in affected),
            basins_not_working=frozenset((*limb_basins, *neck)),
            options=options,
            first_side=Side.RIGHT,
        )
