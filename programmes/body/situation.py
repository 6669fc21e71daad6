"""What is known about one body when a programme is planned."""

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import NamedTuple

from clinic.common.vocabulary import Basin, Involvement, Phase, Precaution, Region, RegionSide, Side
from programmes.body.errors import SituationUnclear
from programmes.body.territory import mirrored_id, territory_map

# Regions that lie on one side of the body; the others may lie in the midline.
SIDED = (Region.ARM, Region.LEG, Region.BREAST, Region.TRUNK_UPPER, Region.TRUNK_LOWER)


class Affected(NamedTuple):
    """One affected region. At risk is planned like swollen: the steps prevent as they treat."""

    region: Region
    side: RegionSide
    involvement: Involvement = Involvement.SWOLLEN

    @property
    def sides(self) -> tuple[Side, ...]:
        """The sides it lies on; a midline region lies on both."""
        if self.side is RegionSide.MIDLINE:
            return (Side.RIGHT, Side.LEFT)
        return (Side(self.side.value),)

    def mirrored(self) -> "Affected":
        if self.side is RegionSide.MIDLINE:
            return self
        return self._replace(side=RegionSide(Side(self.side.value).other.value))


@dataclass(frozen=True)
class Options:
    """What the clinician switched on.

    `limb_by_therapist_only`: some services teach only the unswollen areas (care page WOOD).
    `lesser_routes`: minor routes, such as over the collarbone, which are off by default.
    `helper_available`: somebody reaches the back; without, steps there are left out.
    """

    limb_by_therapist_only: bool = False
    lesser_routes: bool = False
    helper_available: bool = False


@dataclass(frozen=True)
class Situation:
    """Everything the planner and the validator may know. Raises SituationUnclear.

    `cleared` holds the relative precautions that somebody cleared, with name and date on record.
    `basins_set_working` are treated basins that the clinician judges to work all the same.
    `forbidden_nodes` are map ids left out for a wound, fragile skin or a device.
    `first_side` is done first where both sides are worked; by default the side named first.
    """

    affected: tuple[Affected, ...]
    basins_not_working: frozenset[tuple[Basin, Side]] = frozenset()
    basins_set_working: frozenset[tuple[Basin, Side]] = frozenset()
    precautions: frozenset[Precaution] = frozenset()
    cleared: frozenset[Precaution] = frozenset()
    forbidden_nodes: frozenset[str] = frozenset()
    phase: Phase = Phase.MAINTENANCE
    options: Options = field(default_factory=Options)
    first_side: Side | None = None

    def __post_init__(self) -> None:
        if not self.affected:
            raise SituationUnclear("affected")
        for region in self.affected:
            if region.region in SIDED and region.side is RegionSide.MIDLINE:
                raise SituationUnclear(region.region)
        if not self.forbidden_nodes <= territory_map().places.keys():
            raise SituationUnclear("forbidden_nodes")

    @property
    def lead(self) -> Side:
        """The side that comes first where both are worked."""
        if self.first_side is not None:
            return self.first_side
        sided = (region for region in self.affected if region.side is not RegionSide.MIDLINE)
        return next((region.sides[0] for region in sided), Side.RIGHT)

    @cached_property
    def sides(self) -> tuple[Side, Side]:
        """The side done first, then the other."""
        return (self.lead, self.lead.other)

    @property
    def treated_basins(self) -> frozenset[tuple[Basin, Side]]:
        """Basins that take no fluid: removed, irradiated or unknown, unless set to working."""
        return self.basins_not_working - self.basins_set_working

    def affects(self, side: Side, *regions: Region) -> bool:
        """True if one of these regions is affected on this side."""
        return any(one.region in regions and side in one.sides for one in self.affected)

    def mirrored(self) -> "Situation":
        """The same body seen in a mirror."""
        return replace(
            self,
            affected=tuple(region.mirrored() for region in self.affected),
            basins_not_working=_mirrored_basins(self.basins_not_working),
            basins_set_working=_mirrored_basins(self.basins_set_working),
            forbidden_nodes=frozenset(mirrored_id(node) for node in self.forbidden_nodes),
            first_side=self.first_side.other if self.first_side else None,
        )


def _mirrored_basins(basins: frozenset[tuple[Basin, Side]]) -> frozenset[tuple[Basin, Side]]:
    return frozenset((basin, side.other) for basin, side in basins)
