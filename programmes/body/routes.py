"""Where fluid can go: the bridges to open and, for every place, the next place it drains to.

Rules P2 to P12 of the territory map. The cost of an edge only decides which way a place is emptied
when two are open; it is not a physiological quantity.
"""

import heapq
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from clinic.common.vocabulary import Basin, Region, Side
from programmes.body.errors import NoSafeRoute, WhyNoRoute
from programmes.body.situation import Affected, Situation
from programmes.body.terrain import Terrain
from programmes.body.territory import LETTER_OF, Bridge, Edge, Place, node_of

# Lesser routes are taken only where no other is left: dearer than any way over the trunk.
LESSER_PENALTY = 100.0
HEAD_NECK = ("neck_side", "neck_back", "under_chin", "cheek", "scalp_back", "brow")
STEMS_OF: Mapping[Region, tuple[str, ...]] = {
    Region.BREAST: ("breast_upper", "breast_lower"),
    Region.TRUNK_UPPER: ("chest", "flank_upper", "upper_back"),
    Region.TRUNK_LOWER: ("abdomen", "flank_lower", "lower_back", "buttock"),
    Region.HEAD_NECK: HEAD_NECK,
}
UPPER = (Region.ARM, Region.BREAST, Region.TRUNK_UPPER)
LOWER = (Region.LEG, Region.TRUNK_LOWER)


@dataclass(frozen=True)
class Chain:
    """One opened way: from the full side, place by place, into a basin."""

    code: str
    plain: str
    path: tuple[str, ...]


@dataclass(frozen=True)
class Routes:
    """The way out for every place worked on.

    `segments` are the affected places that get steps; `moves` says where each place drains to;
    `closed` are bridges that end in a working basin but may not be used; `dropped` are affected
    places that only a helper could drain.
    """

    segments: tuple[str, ...]
    moves: Mapping[str, tuple[str, ...]]
    chains: tuple[Chain, ...]
    receiving: frozenset[str]
    closed: tuple[Bridge, ...]
    dropped: tuple[str, ...]

    def outlet_of(self, node: str) -> str:
        """The basin in which fluid at this place ends up."""
        while node in self.moves:
            node = self.moves[node][0]
        return node


Exits = dict[str, tuple[Edge, ...]]


def find_routes(situation: Situation, terrain: Terrain) -> Routes:
    """Open the bridges and find every affected place a way out. Raises NoSafeRoute."""
    search = _Search.start(situation, terrain, with_helper=situation.options.helper_available)
    segments = affected_segments(situation, terrain)
    within_reach = tuple(node for node in segments if search.reaches_by_hand(node))
    search.open_detours(within_reach)
    stranded = [node for node in within_reach if node not in search.costs]
    dropped = _droppable(stranded, within_reach, situation, terrain)
    if set(stranded) - set(dropped):
        raise NoSafeRoute(_why(situation, terrain), regions=tuple(stranded))
    kept = tuple(node for node in within_reach if node not in dropped)
    moves = search.moves_from([*kept, *(chain.path[0] for chain in search.chains)])
    if not moves:
        raise NoSafeRoute(WhyNoRoute.NOTHING_LEFT)
    return Routes(
        segments=kept,
        moves=moves,
        chains=tuple(search.chains),
        receiving=_basins_in(moves, terrain),
        closed=tuple(search.closed),
        dropped=(*dropped, *(node for node in segments if node not in within_reach)),
    )


def affected_segments(situation: Situation, terrain: Terrain) -> tuple[str, ...]:
    """Affected places that may be touched, in the order they were named."""
    nodes = (
        node
        for region in situation.affected
        for side in _in_order(region.sides, situation)
        for node in nodes_of(region, side, terrain)
    )
    if situation.options.limb_by_therapist_only:
        nodes = (node for node in nodes if not terrain.territory.places[node].is_limb)
    return tuple(dict.fromkeys(node for node in nodes if node not in terrain.forbidden))


def nodes_of(region: Affected, side: Side, terrain: Terrain) -> tuple[str, ...]:
    """Map ids of one affected region on one side."""
    if region.region in (Region.ARM, Region.LEG):
        return terrain.territory.segments_of(f"{region.region.value}_{LETTER_OF[side]}")
    if region.region is Region.GENITAL:
        return ("genital",)
    return tuple(f"{stem}_{LETTER_OF[side]}" for stem in STEMS_OF[region.region])


def cheapest(exits: Exits, sinks: Iterable[str]) -> dict[str, float]:
    """Least cost from every place that has a way to a sink (Dijkstra 1959, run backwards)."""
    into: dict[str, list[Edge]] = {}
    for edges in exits.values():
        for edge in edges:
            into.setdefault(edge.end, []).append(edge)
    costs: dict[str, float] = {}
    queue = [(0.0, sink) for sink in sinks]
    heapq.heapify(queue)
    while queue:
        cost, node = heapq.heappop(queue)
        if node in costs:
            continue
        costs[node] = cost
        for edge in into.get(node, ()):
            if edge.start not in costs:
                heapq.heappush(queue, (cost + weight(edge), edge.start))
    return costs


def weight(edge: Edge) -> float:
    """Cost of an edge, lesser routes made dearer than any other."""
    return edge.cost + (LESSER_PENALTY if edge.clinician_only else 0.0)


@dataclass
class _Search:
    """Bridges opened so far, and the least cost from each place to a working basin."""

    situation: Situation
    terrain: Terrain
    with_helper: bool
    chains: list[Chain] = field(default_factory=list)
    closed: list[Bridge] = field(default_factory=list)
    forced: dict[str, str] = field(default_factory=dict)
    opened: dict[str, str] = field(default_factory=dict)
    usable: Exits = field(default_factory=dict)
    over_bridges: list[Edge] = field(default_factory=list)
    ways: Exits = field(default_factory=dict)
    costs: dict[str, float] = field(default_factory=dict)

    @classmethod
    def start(cls, situation: Situation, terrain: Terrain, *, with_helper: bool) -> "_Search":
        search = cls(situation, terrain, with_helper)
        search._look_round()
        for bridge in _bridges_wanted(situation, terrain):
            if all(search.reaches_by_hand(node) for node in bridge.path):
                search.open(Chain(bridge.code, bridge.plain, bridge.path))
            else:
                search.closed.append(bridge)
        search.settle()
        return search

    def settle(self) -> None:
        """Work out the ways and costs anew after bridges were opened."""
        self.ways = self.exits(any_bridge=False)
        self.costs = cheapest(self.ways, self.terrain.sinks)

    def reaches_by_hand(self, node: str) -> bool:
        hard = self.terrain.territory.places[node].hard_to_reach
        return node not in self.terrain.forbidden and (self.with_helper or not hard)

    def open(self, chain: Chain) -> None:
        self.chains.append(chain)
        for ends in pairwise(chain.path):
            self.forced.setdefault(*ends)
            if ends in self.terrain.territory.crossings:
                self.opened.setdefault(*self.terrain.territory.crossings[ends])

    def open_detours(self, nodes: Iterable[str]) -> None:
        """Where no bridge of the usual table helps, open the cheapest way over any bridge."""
        for node in nodes:
            if node in self.costs:
                continue
            exits = self.exits(any_bridge=True)
            costs = cheapest(exits, self.terrain.sinks)
            if node in costs:
                self.open(self._detour(node, exits, costs))
                self.settle()

    def exits(self, *, any_bridge: bool) -> Exits:
        """Edges a hand may use out of each place; a place on an opened bridge has one."""
        ways = dict(self.usable)
        for edge in self.over_bridges:
            family, way = self.terrain.territory.crossings[edge.start, edge.end]
            if self.opened.get(family, way if any_bridge else "") == way:
                ways[edge.start] = (*ways[edge.start], edge)
        for ends in self.forced.items():
            ways[ends[0]] = (self.terrain.territory.edges[ends],)
        return ways

    def moves_from(self, starts: Iterable[str]) -> dict[str, tuple[str, ...]]:
        """Next places for the starts and for all that lies below them."""
        moves: dict[str, tuple[str, ...]] = {}
        waiting = list(starts)
        while waiting:
            node = waiting.pop()
            if node in moves or node in self.terrain.sinks:
                continue
            moves[node] = self._next(node)
            waiting.extend(moves[node])
        return moves

    def _look_round(self) -> None:
        """Find the edges that the terrain and the reach of the hand allow, bridges apart."""
        places = self.terrain.territory.places
        for node, edges in self.terrain.territory.leaving.items():
            found = [edge for edge in edges if self._may_use(edge, places)]
            self.usable[node] = tuple(edge for edge in found if not edge.bridge)
            self.over_bridges.extend(edge for edge in found if edge.bridge)

    def _may_use(self, edge: Edge, places: Mapping[str, Place]) -> bool:
        return (
            self.terrain.allows(edge)
            and self.reaches_by_hand(edge.start)
            and self.reaches_by_hand(edge.end)
            # Trunk before limb: a trunk region is never emptied over a limb.
            and not (places[edge.start].is_trunk and places[edge.end].is_limb)
        )

    def _next(self, node: str) -> tuple[str, ...]:
        """The cheapest way on; a midline place takes every way of equal cost."""
        ways = [
            edge.end
            for edge in self.ways[node]
            if edge.end in self.costs
            and abs(weight(edge) + self.costs[edge.end] - self.costs[node]) < 1e-9
        ]
        if self.terrain.territory.places[node].side is not None:
            return tuple(ways[:1])
        lead = "_" + LETTER_OF[self.situation.lead]
        return tuple(sorted(ways, key=lambda end: not end.endswith(lead)))

    def _detour(self, node: str, exits: Exits, costs: dict[str, float]) -> Chain:
        path = [node]
        while path[-1] not in self.terrain.sinks:
            path.append(
                min(exits[path[-1]], key=lambda e: weight(e) + costs.get(e.end, float("inf"))).end
            )
        bridges = [self.terrain.territory.edges[ends].bridge for ends in pairwise(path)]
        first = next(place for place, bridge in enumerate(bridges) if bridge)
        code = "+".join(dict.fromkeys(bridge for bridge in bridges if bridge))
        end = self.terrain.territory.places[path[-1]].plain
        return Chain(code, f"long way round to the {end}", tuple(path[first:]))


def _bridges_wanted(situation: Situation, terrain: Terrain) -> list[Bridge]:
    """The usual bridges that end in a working basin, in the order they are opened."""
    from_place = {bridge.path[0]: bridge for bridge in terrain.territory.bridges}
    starts = [
        f"{stem}_{LETTER_OF[side]}"
        for side in situation.sides
        for stem in _bridge_starts(situation, terrain, side)
    ]
    bridges = (from_place[start] for start in dict.fromkeys(starts))
    return [bridge for bridge in bridges if bridge.path[-1] in terrain.sinks]


def _bridge_starts(situation: Situation, terrain: Terrain, side: Side) -> Iterable[str]:
    """Where the bridges of one side begin: front, side, back. Source: bridge table of the map."""

    def is_shut(basin: Basin, of: Side = side) -> bool:
        return node_of(basin, of) not in terrain.sinks

    if situation.affects(side, *UPPER) and is_shut(Basin.AXILLA):
        yield from ("chest", "flank_upper", "upper_back")
    if situation.affects(side, *LOWER) and is_shut(Basin.GROIN):
        yield from ("abdomen", "flank_lower", "lower_back")
    if _drains_genital_up(situation) and is_shut(Basin.GROIN) and is_shut(Basin.GROIN, side.other):
        yield "flank_lower"
    if situation.affects(side, Region.HEAD_NECK) and is_shut(Basin.SUPRACLAV):
        yield from ("neck_side", "neck_back")


def _drains_genital_up(situation: Situation) -> bool:
    return any(region.region is Region.GENITAL for region in situation.affected)


def _droppable(
    stranded: list[str], segments: tuple[str, ...], situation: Situation, terrain: Terrain
) -> tuple[str, ...]:
    """Stranded places that only lack a helper, in a region that keeps other places."""
    if not stranded or situation.options.helper_available:
        return ()
    helped = _Search.start(situation, terrain, with_helper=True)
    helped.open_detours(segments)
    kept_regions = {_region_of(n, situation, terrain) for n in segments if n not in stranded}
    return tuple(
        node
        for node in stranded
        if node in helped.costs and _region_of(node, situation, terrain) in kept_regions
    )


def _region_of(node: str, situation: Situation, terrain: Terrain) -> Affected:
    return next(
        region
        for region in situation.affected
        for side in region.sides
        if node in nodes_of(region, side, terrain)
    )


def _why(situation: Situation, terrain: Terrain) -> WhyNoRoute:
    """What a clinician could switch on to get a route; BLOCKED if nothing."""
    segments = affected_segments(situation, terrain)
    lesser = Terrain(**{**vars(terrain), "lesser_routes": True})
    for ground, why in (
        (terrain, WhyNoRoute.NEEDS_HELPER),
        (lesser, WhyNoRoute.NEEDS_LESSER_ROUTES),
    ):
        search = _Search.start(situation, ground, with_helper=True)
        search.open_detours(segments)
        if all(node in search.costs for node in segments):
            return why
    return WhyNoRoute.BLOCKED


def _basins_in(moves: Mapping[str, tuple[str, ...]], terrain: Terrain) -> frozenset[str]:
    return frozenset(end for ends in moves.values() for end in ends if end in terrain.sinks)


def _in_order(sides: tuple[Side, ...], situation: Situation) -> list[Side]:
    return [side for side in situation.sides if side in sides]
