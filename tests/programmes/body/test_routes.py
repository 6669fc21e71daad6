"""Ways out for fluid, compared with networkx and with the bridge table of the care page."""

from itertools import pairwise, product

import networkx as nx
import pytest

from clinic.common.vocabulary import Basin, Region, Side
from programmes.body.errors import NoSafeRoute
from programmes.body.routes import LESSER_PENALTY, cheapest, find_routes
from programmes.body.situation import Affected, Options, Situation
from programmes.body.terrain import terrain_of, working_basins
from programmes.body.territory import territory_map
from tests.programmes.body.cases import (
    AFFECTED,
    LIMB_BASINS,
    NECK_SETS,
    RIGHT,
    SCENARIOS,
    one_arm,
    situation_of,
    subsets,
)
from tests.programmes.body.oracle import sinks

WORLD = territory_map()
# Care page 1.6: case -> bridges, for the right side. Sources: NI, RBR, RBA, GEN, LEG (seen);
# back bridges from memory, not re-read.
ARM, LEG, BREAST = (Affected(region, RIGHT) for region in (Region.ARM, Region.LEG, Region.BREAST))
A_R, G_R = (Basin.AXILLA, Side.RIGHT), (Basin.GROIN, Side.RIGHT)
BRIDGES_1_6 = [
    ((ARM,), {A_R}, {"AAA", "PAA", "AI_R"}),
    ((BREAST,), {A_R}, {"AAA", "PAA", "AI_R"}),
    ((LEG,), {G_R}, {"IA_R", "AII", "PII"}),
    ((ARM, LEG), {A_R, G_R}, {"AAA", "PAA", "AII", "PII"}),
    ((ARM,), set(), set()),
    ((LEG,), set(), set()),
]


@pytest.mark.parametrize(("affected", "treated", "bridges"), BRIDGES_1_6)
def test_bridges_follow_the_care_page_table(
    affected: tuple[Affected, ...], treated: set[tuple[Basin, Side]], bridges: set[str]
) -> None:
    situation = Situation(affected, frozenset(treated), options=Options(helper_available=True))
    routes = find_routes(situation, terrain_of(situation, WORLD))
    assert {chain.code for chain in routes.chains} == bridges


@pytest.mark.parametrize("scenario", SCENARIOS, ids=lambda scenario: scenario["id"])
def test_each_published_situation_opens_its_bridges_into_its_basins(scenario: dict) -> None:
    situation = situation_of(scenario)
    routes = find_routes(situation, terrain_of(situation, WORLD))
    assert routes.receiving == set(scenario["accept_basins"])
    opened = {(chain.code, chain.path[-1]) for chain in routes.chains}
    assert opened == {(one["bridge"], one["toward"]) for one in scenario["bridges_to_open"]}


@pytest.mark.parametrize("treated", list(subsets(LIMB_BASINS)) + list(NECK_SETS))
def test_working_basins_agree_with_reachability_in_networkx(treated: tuple) -> None:
    situation = one_arm(basins_not_working=frozenset(treated))
    assert working_basins(situation, WORLD) == sinks(situation)


@pytest.mark.parametrize("lesser", [False, True])
@pytest.mark.parametrize("treated", list(subsets(LIMB_BASINS)) + list(NECK_SETS))
def test_least_costs_agree_with_dijkstra_in_networkx(treated: tuple, lesser: bool) -> None:
    situation = one_arm(
        basins_not_working=frozenset(treated), options=Options(lesser_routes=lesser)
    )
    terrain = terrain_of(situation, WORLD)
    exits = {
        node: tuple(edge for edge in edges if terrain.allows(edge))
        for node, edges in WORLD.leaving.items()
    }
    theirs = nx.DiGraph()
    theirs.add_nodes_from(terrain.sinks)
    for (start, end), edge in WORLD.edges.items():
        shut = WORLD.places[end].is_basin and end not in sinks(situation)
        if edge.flow != "inner" and not shut and (lesser or not edge.clinician_only):
            extra = LESSER_PENALTY if edge.clinician_only else 0
            theirs.add_edge(end, start, weight=edge.cost + extra)
    expected = nx.multi_source_dijkstra_path_length(theirs, terrain.sinks)
    assert cheapest(exits, terrain.sinks) == pytest.approx(expected)


CASES = [
    Situation(
        tuple(Affected(region, side) for region, side in affected),
        frozenset((*limb, *neck)),
        options=Options(helper_available=helper),
        first_side=Side.RIGHT,
    )
    for affected, limb, neck, helper in product(
        AFFECTED.values(), subsets(LIMB_BASINS), NECK_SETS[::3], (False, True)
    )
]


def test_moves_have_no_cycle_and_end_in_working_basins() -> None:
    for situation in CASES:
        try:
            routes = find_routes(situation, terrain_of(situation, WORLD))
        except NoSafeRoute:
            continue
        moves = nx.DiGraph((a, b) for a, ends in routes.moves.items() for b in ends)
        assert nx.is_directed_acyclic_graph(moves)
        ends = {node for node in moves if moves.out_degree(node) == 0}
        assert ends <= sinks(situation)
        assert set(moves.edges) <= set(WORLD.graph.edges)


def test_no_route_is_refused_that_networkx_can_find_with_hand_steps() -> None:
    """BLOCKED is said only if some affected place has no path at all, helper and all bridges on."""
    refused = 0
    for situation in CASES:
        if not situation.options.helper_available:
            continue
        ends = sinks(situation)
        world = nx.DiGraph(
            ends_
            for ends_, edge in WORLD.edges.items()
            if edge.flow != "inner"
            and not edge.clinician_only
            and (not WORLD.places[ends_[1]].is_basin or ends_[1] in ends)
            # Trunk before limb: no trunk place is emptied over a limb.
            and not (WORLD.places[ends_[0]].is_trunk and WORLD.places[ends_[1]].is_limb)
        )
        terrain = terrain_of(situation, WORLD)
        try:
            find_routes(situation, terrain)
        except NoSafeRoute as refusal:
            refused += 1
            for node in refusal.regions:
                assert not nx.descendants(world, node) & ends, (situation, node)
    assert refused > 0


def test_a_path_of_the_planner_is_a_path_of_the_map() -> None:
    for scenario in SCENARIOS:
        situation = situation_of(scenario)
        for chain in find_routes(situation, terrain_of(situation, WORLD)).chains:
            assert nx.is_path(WORLD.graph, chain.path)
            assert all(WORLD.edges[move].is_manual for move in pairwise(chain.path))


def test_a_barred_segment_bars_all_farther_out() -> None:
    # Map rules, "limb segment barred": remove it and every more distal segment.
    situation = one_arm(forbidden_nodes=frozenset({"forearm_R"}))
    forbidden = terrain_of(situation, WORLD).forbidden
    assert forbidden == {"forearm_R", "hand_R", "fingers_R"}


def test_a_treated_armpit_set_to_working_takes_the_fluid_again() -> None:
    # Suami et al. 2019, BMC Cancer 19:985: the treated armpit was the outlet of 67 % of 103 arms.
    situation = one_arm(basins_set_working=frozenset({A_R}))
    routes = find_routes(situation, terrain_of(situation, WORLD))
    assert routes.receiving == {"axilla_R"}
    assert routes.chains == ()
