"""The territory map: one side written down, the other its mirror, all of it checked on reading."""

import copy
import json
from typing import Any

import networkx as nx
import pytest

from clinic.common.vocabulary import Basin, Side
from programmes.body.errors import MapBroken
from programmes.body.territory import (
    MAP_FILE,
    Flow,
    Kind,
    mirrored_id,
    node_of,
    read_map,
    territory_map,
)
from tests.programmes.body.cases import SCENARIOS

WORLD = territory_map()


def document() -> dict[str, Any]:
    return copy.deepcopy(json.loads(MAP_FILE.read_text(encoding="utf-8")))


def test_the_map_has_the_size_of_the_care_page() -> None:
    # Care page 1.5: "78 nodes, 146 directed edges".
    assert (len(WORLD.places), len(WORLD.edges)) == (78, 146)
    assert WORLD.graph.number_of_nodes() == 78
    assert WORLD.graph.number_of_edges() == 146


def test_no_side_is_typed_twice() -> None:
    text = json.dumps(document()["one_side"])
    assert not [word for word in ("_L", "_R", " left ", " right ") if word in text]


def test_the_two_sides_are_mirror_images() -> None:
    # The one exception is anatomy: the thoracic duct ends on the left (textbook, from memory).
    mirrored = nx.relabel_nodes(WORLD.graph, mirrored_id)
    lone = set(WORLD.graph.edges) ^ set(mirrored.edges)
    assert lone == {("deep_abdomen", "venous_angle_L"), ("deep_abdomen", "venous_angle_R")}
    for place in WORLD.places.values():
        twin = WORLD.places[mirrored_id(place.id)]
        swapped = twin.plain.replace("left", "?").replace("right", "left").replace("?", "right")
        assert (place.kind, place.rank, place.parts) == (twin.kind, twin.rank, twin.parts)
        assert place.plain == swapped


@pytest.mark.parametrize("basin", Basin)
@pytest.mark.parametrize("side", Side)
def test_every_basin_of_the_vocabulary_reaches_a_vein_inside(basin: Basin, side: Side) -> None:
    inside = nx.DiGraph(
        (a, b) for a, b, flow in WORLD.graph.edges(data="flow") if flow is Flow.INNER
    )
    veins = {f"venous_angle_{letter}" for letter in "LR"}
    assert nx.descendants(inside, node_of(basin, side)) & veins


def test_every_place_a_hand_works_on_has_words_for_the_hand_and_the_client() -> None:
    worked = [place for place in WORLD.places.values() if place.kind is not Kind.TERMINUS]
    assert [place.id for place in worked if not (place.hand and place.plain)] == []
    assert not any("{" in text for place in worked for text in (place.hand, place.plain))


def test_the_published_situations_speak_of_places_of_this_map() -> None:
    named = {node for scenario in SCENARIOS for node in scenario["swollen"]}
    named |= {node for scenario in SCENARIOS for node in scenario["accept_basins"]}
    assert named <= WORLD.places.keys()


def test_limb_segments_come_nearest_the_trunk_first() -> None:
    assert WORLD.segments_of("arm_L")[0] == "shoulder_L"
    assert WORLD.segments_of("arm_L")[-1] == "fingers_L"
    assert WORLD.segments_of("leg_R")[0] == "hip_R"
    assert WORLD.segments_of("leg_R")[-1] == "toes_R"


def test_each_bridge_crosses_a_known_watershed_and_ends_in_a_basin() -> None:
    for bridge in WORLD.bridges:
        assert bridge.crosses in WORLD.watersheds
        assert WORLD.places[bridge.path[-1]].is_basin


def _twice_named(doc: dict[str, Any]) -> None:
    doc["one_side"]["nodes"].append(doc["one_side"]["nodes"][0])


def _edge_to_nowhere(doc: dict[str, Any]) -> None:
    doc["one_side"]["edges"][5]["to"] = "nowhere_{s}"


def _drawn_twice(doc: dict[str, Any]) -> None:
    doc["one_side"]["edges"].append(doc["one_side"]["edges"][5])


def _unknown_kind(doc: dict[str, Any]) -> None:
    doc["one_side"]["nodes"][0]["kind"] = "pond"


def _unknown_flow(doc: dict[str, Any]) -> None:
    doc["one_side"]["edges"][0]["class"] = "tide"


def _below_zero(doc: dict[str, Any]) -> None:
    doc["one_side"]["edges"][5]["cost"] = -1


def _gap_in_the_ranks(doc: dict[str, Any]) -> None:
    next(n for n in doc["one_side"]["nodes"] if n["id"] == "elbow_{s}")["rank"] = 9


def _basin_cut_off(doc: dict[str, Any]) -> None:
    edges = doc["one_side"]["edges"]
    doc["one_side"]["edges"] = [edge for edge in edges if edge["from"] != "axilla_{s}"]


def _hand_step_out_of_a_basin(doc: dict[str, Any]) -> None:
    next(e for e in doc["one_side"]["edges"] if e["from"] == "axilla_{s}")["class"] = "within"


def _bridge_with_a_gap(doc: dict[str, Any]) -> None:
    doc["one_side"]["bridges"][0]["path"].remove("chest_mid")


def _bridge_over_no_watershed(doc: dict[str, Any]) -> None:
    doc["one_side"]["bridges"][0]["crosses"] = "equator"


@pytest.mark.parametrize(
    "damage",
    [
        _twice_named,
        _edge_to_nowhere,
        _drawn_twice,
        _unknown_kind,
        _unknown_flow,
        _below_zero,
        _gap_in_the_ranks,
        _basin_cut_off,
        _hand_step_out_of_a_basin,
        _bridge_with_a_gap,
        _bridge_over_no_watershed,
    ],
)
def test_a_broken_map_is_refused_when_read(damage: Any) -> None:
    doc = document()
    damage(doc)
    with pytest.raises(MapBroken):
        read_map(doc)
