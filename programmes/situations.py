"""From the record to the planner's situation, and the situation as plain values."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from clinic.clients.models import AffectedRegion, Irradiation
from clinic.clients.selectors import BodyStory
from clinic.common.vocabulary import (
    Basin,
    Involvement,
    Phase,
    Precaution,
    RadiationField,
    Region,
    RegionSide,
    Side,
)
from programmes.body.errors import SituationUnclear
from programmes.body.situation import Affected, Options, Situation
from programmes.choices import BasinSide, Choices, basins_as_json, basins_from_json

# After radiation a basin counts as if its nodes were removed, until a clinician sets it to
# working. Armpit, groin and collarbone: care page 1.5 and common practice; neck: common practice,
# no source.
BASIN_OF_FIELD = {
    RadiationField.AXILLA: Basin.AXILLA,
    RadiationField.GROIN: Basin.GROIN,
    RadiationField.SUPRACLAV: Basin.SUPRACLAV,
    RadiationField.NECK: Basin.CERVICAL,
}


@dataclass(frozen=True)
class Ground:
    """What a plan rests on today: the situation, or why there is none, and the record behind it."""

    story: BodyStory
    choices: Choices
    phase: Phase
    situation: Situation | None
    unclear: SituationUnclear | None = None


def situation_from_record(
    regions: Iterable[AffectedRegion], story: BodyStory, *, phase: Phase, choices: Choices
) -> Situation:
    """The situation as the record and the clinician's choices tell it. Raises SituationUnclear."""
    return Situation(
        affected=tuple(affected(region) for region in regions),
        basins_not_working=treated_basins(story) | choices.not_working,
        basins_set_working=choices.working,
        precautions=story.open_precautions,
        cleared=frozenset(one.precaution for one in choices.clearances),
        forbidden_nodes=choices.forbidden,
        phase=phase,
        options=choices.options,
        first_side=choices.first_side,
    )


def affected(region: AffectedRegion) -> Affected:
    return Affected(Region(region.region), RegionSide(region.side), Involvement(region.involvement))


def treated_basins(story: BodyStory) -> frozenset[BasinSide]:
    """Basins operated on or irradiated, as recorded."""
    operated = {(Basin(one.basin), Side(one.side)) for one in story.node_surgeries}
    return frozenset(operated | set(_irradiated(story.irradiations)))


def _irradiated(irradiations: Iterable[Irradiation]) -> Iterator[BasinSide]:
    for one in irradiations:
        basin = BASIN_OF_FIELD.get(RadiationField(one.field))
        if basin is not None:
            yield from ((basin, side) for side in _sides(RegionSide(one.side)))


def _sides(side: RegionSide) -> tuple[Side, ...]:
    return tuple(Side) if side is RegionSide.MIDLINE else (Side(side.value),)


def situation_as_json(situation: Situation) -> dict[str, Any]:
    """Plain values of everything the plan rested on, kept with an issued programme."""
    return {
        "affected": [[word.value for word in region] for region in situation.affected],
        "basins_not_working": basins_as_json(situation.basins_not_working),
        "basins_set_working": basins_as_json(situation.basins_set_working),
        "precautions": sorted(situation.precautions),
        "cleared": sorted(situation.cleared),
        "forbidden_nodes": sorted(situation.forbidden_nodes),
        "phase": situation.phase.value,
        "limb_by_therapist_only": situation.options.limb_by_therapist_only,
        "lesser_routes": situation.options.lesser_routes,
        "helper_available": situation.options.helper_available,
        "first_side": situation.first_side.value if situation.first_side else None,
    }


def situation_from_json(kept: Mapping[str, Any]) -> Situation:
    """The opposite of `situation_as_json`."""
    return Situation(
        affected=tuple(
            Affected(Region(region), RegionSide(side), Involvement(involvement))
            for region, side, involvement in kept["affected"]
        ),
        basins_not_working=basins_from_json(kept["basins_not_working"]),
        basins_set_working=basins_from_json(kept["basins_set_working"]),
        precautions=frozenset(map(Precaution, kept["precautions"])),
        cleared=frozenset(map(Precaution, kept["cleared"])),
        forbidden_nodes=frozenset(kept["forbidden_nodes"]),
        phase=Phase(kept["phase"]),
        options=Options(
            limb_by_therapist_only=kept["limb_by_therapist_only"],
            lesser_routes=kept["lesser_routes"],
            helper_available=kept["helper_available"],
        ),
        first_side=Side(kept["first_side"]) if kept["first_side"] else None,
    )
