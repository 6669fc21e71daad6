"""The territory map: regions, node basins, watersheds and the bridges that cross them.

`graph.json` holds one side; the other is its mirror and is made here. Sources and licence of the
facts stand in that file.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from itertools import pairwise
from pathlib import Path
from types import MappingProxyType
from typing import Any

import networkx as nx

from clinic.common.vocabulary import Basin, Side, Word
from programmes.body.errors import MapBroken

MAP_FILE = Path(__file__).with_name("graph.json")
LETTER_OF: Mapping[Side, str] = MappingProxyType({Side.LEFT: "L", Side.RIGHT: "R"})
SIDE_OF: Mapping[str, Side] = MappingProxyType({"L": Side.LEFT, "R": Side.RIGHT})


class Kind(Word):
    """What a place of the map is."""

    DEEP_BASIN = "deep_basin", "deep nodes of the belly"
    BASIN = "basin", "node basin"
    TERMINUS = "terminus", "vein junction"
    WATERSHED_STRIP = "watershed_strip", "strip over a watershed"
    TERRITORY = "territory", "trunk territory"
    LIMB_SEGMENT = "limb_segment", "limb segment"
    HEAD_NECK_SEGMENT = "head_neck_segment", "head or neck segment"


class Flow(Word):
    """What carries fluid along an edge."""

    INNER = "inner", "inside flow"
    NATURAL = "natural", "normal drainage to the own basin"
    WITHIN = "within", "inside one territory group"
    BRIDGE = "bridge", "crosses a watershed"
    TURN = "turn", "from the inner to the outer side of a limb"
    LIMB = "limb", "up a limb"
    LESSER = "lesser", "minor or variable route"


@dataclass(frozen=True)
class Part:
    """A part of a place that is worked by itself, such as the front of the elbow."""

    key: str
    words: str


@dataclass(frozen=True)
class Place:
    """A node of the map. `plain` is what a client reads; `rank` 1 is nearest the trunk."""

    id: str
    name: str
    plain: str
    kind: Kind
    region: str
    side: Side | None
    surface: str = ""
    rank: int = 0
    limb: str = ""
    basin: Basin | None = None
    prep: str = ""
    hand: str = ""
    hard_to_reach: bool = False
    hand_widths: int = 1
    parts: tuple[Part, ...] = ()

    @cached_property
    def is_basin(self) -> bool:
        return self.kind is Kind.BASIN

    @cached_property
    def is_limb(self) -> bool:
        return self.kind is Kind.LIMB_SEGMENT

    @cached_property
    def is_trunk(self) -> bool:
        return self.kind in (Kind.TERRITORY, Kind.WATERSHED_STRIP)


@dataclass(frozen=True)
class Edge:
    """One way fluid may go. `bridge` is empty where no watershed is crossed."""

    start: str
    end: str
    flow: Flow
    cost: float
    direction: str
    bridge: str = ""
    clinician_only: bool = False

    @cached_property
    def is_manual(self) -> bool:
        return self.flow is not Flow.INNER


@dataclass(frozen=True)
class Bridge:
    """A way over a watershed: from the full side, place by place, into a basin."""

    code: str
    plain: str
    crosses: str
    family: str
    way: str
    path: tuple[str, ...]


@dataclass(frozen=True)
class TerritoryMap:
    """All places, edges and bridges of both sides; `graph` is the same as a frozen nx.DiGraph.

    `leaving` lists the edges out of a place; `crossings` gives, for the two ends of an edge that
    crosses a watershed, the bridge family and the way it is crossed.
    """

    places: Mapping[str, Place]
    edges: Mapping[tuple[str, str], Edge]
    bridges: tuple[Bridge, ...]
    watersheds: Mapping[str, str]
    leaving: Mapping[str, tuple[Edge, ...]]
    crossings: Mapping[tuple[str, str], tuple[str, str]]
    graph: "nx.DiGraph[str]"

    def segments_of(self, limb: str) -> tuple[str, ...]:
        """Segments of one limb (`arm_L` ... `leg_R`), nearest the trunk first."""
        found = (place for place in self.places.values() if place.limb == limb)
        return tuple(place.id for place in sorted(found, key=lambda place: place.rank))

    def in_region(self, region: str) -> frozenset[str]:
        """Ids of the places a hand can touch in one region of the map."""
        return frozenset(
            place.id
            for place in self.places.values()
            if place.region == region and place.kind is not Kind.TERMINUS
        )


def mirrored_id(node: str) -> str:
    """The same place on the other side; midline places are their own mirror."""
    swap = {"_L": "_R", "_R": "_L"}
    return node[:-2] + swap[node[-2:]] if node[-2:] in swap else node


def node_of(basin: Basin, side: Side) -> str:
    """Map id of a basin on one side."""
    return f"{basin.value}_{LETTER_OF[side]}"


@cache
def territory_map() -> TerritoryMap:
    """The map of this package, read and checked once."""
    return read_map(json.loads(MAP_FILE.read_text(encoding="utf-8")))


def read_map(document: Mapping[str, Any]) -> TerritoryMap:
    """Build the map from one side and its mirror. Raises MapBroken if a rule does not hold."""
    places = _by_id(_places(document))
    edges = _by_ends(_edges(document))
    bridges = tuple(_bridges(document))
    _check_ends(places, edges)
    _check_ranks(places)
    _check_bridges(edges, bridges, document)
    graph = _graph_of(places, edges)
    _check_basins_reach_a_vein(places, edges)
    return TerritoryMap(
        places=MappingProxyType(places),
        edges=MappingProxyType(edges),
        bridges=bridges,
        watersheds=MappingProxyType({w["id"]: w["runs"] for w in document["watersheds"]}),
        leaving=MappingProxyType(_leaving(places, edges)),
        crossings=MappingProxyType(dict(_crossings(edges, bridges))),
        graph=graph,
    )


def _both_sides(entries: list[dict[str, Any]]) -> Iterator[tuple[dict[str, Any], Side]]:
    for side in (Side.RIGHT, Side.LEFT):
        for entry in entries:
            yield _filled(entry, side), side


def _filled(entry: Any, side: Side) -> Any:
    """The entry with its side written in, at every depth."""
    if isinstance(entry, str):
        return entry.format(
            s=LETTER_OF[side], o=LETTER_OF[side.other], side=side.label, other=side.other.label
        )
    if isinstance(entry, list):
        return [_filled(item, side) for item in entry]
    if isinstance(entry, dict):
        return {key: _filled(value, side) for key, value in entry.items()}
    return entry


def _places(document: Mapping[str, Any]) -> Iterator[Place]:
    for entry in document["midline"]["nodes"]:
        yield _place(entry, None)
    for entry, side in _both_sides(document["one_side"]["nodes"]):
        yield _place(entry, side)


def _place(entry: dict[str, Any], side: Side | None) -> Place:
    try:
        kind = Kind(entry["kind"])
        basin = Basin(entry["basin"]) if "basin" in entry else None
    except ValueError as error:
        raise MapBroken(f"{entry['id']}: {error}") from error
    parts = tuple(Part(**part) for part in entry.get("parts", ()))
    return Place(**{**entry, "kind": kind, "basin": basin, "parts": parts, "side": side})


def _edges(document: Mapping[str, Any]) -> Iterator[Edge]:
    for entry in document["midline"]["edges"]:
        yield _edge(entry)
    for entry, _ in _both_sides(document["one_side"]["edges"]):
        yield _edge(entry)


def _edge(entry: dict[str, Any]) -> Edge:
    try:
        flow = Flow(entry["class"])
    except ValueError as error:
        raise MapBroken(f"{entry['from']} to {entry['to']}: {error}") from error
    return Edge(
        start=entry["from"],
        end=entry["to"],
        flow=flow,
        cost=entry["cost"],
        direction=entry["direction"],
        bridge=entry.get("bridge", ""),
        clinician_only=entry.get("clinician_only", False),
    )


def _bridges(document: Mapping[str, Any]) -> Iterator[Bridge]:
    for entry, _ in _both_sides(document["one_side"]["bridges"]):
        yield Bridge(**{**entry, "path": tuple(entry["path"])})


def _by_id(places: Iterator[Place]) -> dict[str, Place]:
    found: dict[str, Place] = {}
    for place in places:
        if place.id in found:
            raise MapBroken(f"{place.id} is named twice")
        found[place.id] = place
    return found


def _by_ends(edges: Iterator[Edge]) -> dict[tuple[str, str], Edge]:
    found: dict[tuple[str, str], Edge] = {}
    for edge in edges:
        if (edge.start, edge.end) in found:
            raise MapBroken(f"{edge.start} to {edge.end} is drawn twice")
        found[edge.start, edge.end] = edge
    return found


def _check_ends(places: dict[str, Place], edges: dict[tuple[str, str], Edge]) -> None:
    for edge in edges.values():
        for end in (edge.start, edge.end):
            if end not in places:
                raise MapBroken(f"{edge.start} to {edge.end}: there is no {end}")
        if edge.cost < 0:
            raise MapBroken(f"{edge.start} to {edge.end}: the cost is below 0")
        if edge.is_manual and places[edge.start].kind in (Kind.BASIN, Kind.DEEP_BASIN):
            raise MapBroken(f"{edge.start}: a hand step may not empty a basin")


def _check_ranks(places: dict[str, Place]) -> None:
    ranks: dict[str, list[int]] = {}
    for place in places.values():
        if place.is_limb:
            ranks.setdefault(place.limb, []).append(place.rank)
    for limb, found in ranks.items():
        if sorted(found) != list(range(1, len(found) + 1)):
            raise MapBroken(f"{limb}: its ranks are not 1, 2, 3 ...")


def _check_bridges(
    edges: dict[tuple[str, str], Edge], bridges: tuple[Bridge, ...], document: Mapping[str, Any]
) -> None:
    watersheds = {entry["id"] for entry in document["watersheds"]}
    for bridge in bridges:
        if bridge.crosses not in watersheds:
            raise MapBroken(f"{bridge.code} crosses no known watershed")
        for ends in pairwise(bridge.path):
            if ends not in edges:
                raise MapBroken(f"{bridge.code}: {ends[0]} does not lead to {ends[1]}")


def _check_basins_reach_a_vein(
    places: dict[str, Place], edges: dict[tuple[str, str], Edge]
) -> None:
    inside: nx.DiGraph[str] = nx.DiGraph()
    inside.add_nodes_from(places)
    inside.add_edges_from(ends for ends, edge in edges.items() if not edge.is_manual)
    for place in places.values():
        below = nx.descendants(inside, place.id)
        if place.is_basin and not any(places[end].kind is Kind.TERMINUS for end in below):
            raise MapBroken(f"{place.id} reaches no vein junction")


def _graph_of(places: dict[str, Place], edges: dict[tuple[str, str], Edge]) -> "nx.DiGraph[str]":
    graph: nx.DiGraph[str] = nx.DiGraph()
    graph.add_nodes_from((place.id, {"kind": place.kind}) for place in places.values())
    for (start, end), edge in edges.items():
        graph.add_edge(start, end, cost=edge.cost, flow=edge.flow)
    return nx.freeze(graph)


def _leaving(
    places: dict[str, Place], edges: dict[tuple[str, str], Edge]
) -> dict[str, tuple[Edge, ...]]:
    found: dict[str, list[Edge]] = {place: [] for place in places}
    for edge in edges.values():
        found[edge.start].append(edge)
    return {place: tuple(leaving) for place, leaving in found.items()}


def _crossings(
    edges: dict[tuple[str, str], Edge], bridges: tuple[Bridge, ...]
) -> Iterator[tuple[tuple[str, str], tuple[str, str]]]:
    """For each edge that crosses a watershed: its bridge family and the way it is crossed."""
    for bridge in bridges:
        for ends in pairwise(bridge.path):
            if edges[ends].bridge == bridge.code:
                yield ends, (bridge.family, bridge.way)
