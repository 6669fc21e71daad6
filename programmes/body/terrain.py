"""The ground a programme may use for one body: what is forbidden, and which basins take fluid."""

from collections.abc import Iterator
from dataclasses import dataclass

from clinic.common.vocabulary import Basin, Precaution, Region, Side
from programmes.body.precautions import Block, Effects, effects_of
from programmes.body.situation import Situation
from programmes.body.territory import LETTER_OF, Edge, Kind, TerritoryMap, node_of

DEEP_BELLY = "deep_abdomen"
# Map regions that each local block takes out; the front of the chest depends on the side.
REGIONS_OF = {
    Block.NECK: ("neck",),
    Block.DEEP_BELLY: ("abdomen_deep",),
    Block.BELLY_SKIN: ("abdomen_surface",),
    Block.LIMB: ("arm", "leg"),
}
CHEST_FRONT = ("chest", "breast_upper", "breast_lower")


@dataclass(frozen=True)
class Exclusion:
    """Places that may not be touched. `precaution` is None when a clinician named them."""

    nodes: frozenset[str]
    precaution: Precaution | None
    reason: str
    plain: str


@dataclass(frozen=True)
class Terrain:
    """Forbidden places and working basins. `sinks` are the basins a stroke may end in."""

    territory: TerritoryMap
    effects: Effects
    exclusions: tuple[Exclusion, ...]
    forbidden: frozenset[str]
    sinks: frozenset[str]
    lesser_routes: bool

    def allows(self, edge: Edge) -> bool:
        """True if a hand may move fluid along this edge."""
        if not edge.is_manual or (edge.clinician_only and not self.lesser_routes):
            return False
        if edge.start in self.forbidden or edge.end in self.forbidden:
            return False
        return edge.end in self.sinks or not self.territory.places[edge.end].is_basin


def terrain_of(situation: Situation, territory: TerritoryMap) -> Terrain:
    """What the precautions and the treated basins leave of the map."""
    effects = effects_of(situation.precautions, cleared=situation.cleared)
    exclusions = tuple(_exclusions(situation, effects, territory))
    named = frozenset(node for exclusion in exclusions for node in exclusion.nodes)
    forbidden = named | _distal_to(named, territory)
    return Terrain(
        territory=territory,
        effects=effects,
        exclusions=exclusions,
        forbidden=forbidden,
        sinks=working_basins(situation, territory) - forbidden,
        lesser_routes=situation.options.lesser_routes,
    )


def working_basins(situation: Situation, territory: TerritoryMap) -> frozenset[str]:
    """Basins that work and whose inside flow reaches a vein junction through basins that work.

    Source: treated basins are no end point and no way through (map rules; textbook anatomy, from
    memory, not re-read). A clinician may set a treated basin to working: Suami et al. 2019,
    BMC Cancer 19:985, found the treated armpit draining two thirds of 103 arms.
    """
    treated = frozenset(node_of(*basin) for basin in situation.treated_basins)
    return frozenset(
        place.id
        for place in territory.places.values()
        if place.is_basin and _reaches_a_vein(place.id, treated, territory)
    )


def _reaches_a_vein(node: str, treated: frozenset[str], territory: TerritoryMap) -> bool:
    if node in treated:
        return False
    if territory.places[node].kind is Kind.TERMINUS:
        return True
    inside = (edge for edge in territory.leaving[node] if not edge.is_manual)
    return any(_reaches_a_vein(edge.end, treated, territory) for edge in inside)


def _exclusions(
    situation: Situation, effects: Effects, territory: TerritoryMap
) -> Iterator[Exclusion]:
    for effect in effects.standing:
        nodes: set[str] = set()
        for block in effect.blocks:
            nodes |= _nodes_of(block, situation, territory)
        if nodes:
            yield Exclusion(frozenset(nodes), effect.precaution, effect.reason, effect.plain)
    if situation.forbidden_nodes:
        yield Exclusion(
            situation.forbidden_nodes,
            None,
            "Named by the clinician as not to be touched.",
            "We skip the places your therapist marked.",
        )


def _nodes_of(block: Block, situation: Situation, territory: TerritoryMap) -> set[str]:
    if block is Block.CHEST_FRONT:
        sides = _chest_sides(situation)
        return {f"{stem}_{LETTER_OF[side]}" for stem in CHEST_FRONT for side in sides}
    regions = REGIONS_OF.get(block, ())
    return {node for region in regions for node in territory.in_region(region)}


def _chest_sides(situation: Situation) -> list[Side]:
    """The sides whose chest was treated; both when nothing tells."""
    upper = (Region.ARM, Region.BREAST, Region.TRUNK_UPPER)
    sides = [
        side
        for side in Side
        if situation.affects(side, *upper) or (Basin.AXILLA, side) in situation.basins_not_working
    ]
    return sides or list(Side)


def _distal_to(named: frozenset[str], territory: TerritoryMap) -> frozenset[str]:
    """A barred limb segment bars every segment farther out: it could not drain through."""
    found: set[str] = set()
    for node in named:
        place = territory.places[node]
        if place.is_limb:
            found |= set(territory.segments_of(place.limb)[place.rank :])
    return frozenset(found)
