"""A second, tiny judge of programmes, written on networkx from the proof rule alone.

Care page, proof rule 1.7: (a) end basins work and are prepared before use; (b) each move goes into
a prepared basin or a place cleared earlier; (c) moves have no cycle; (d) limb segments in rising
rank; (e) no bridge both ways; (f) no blocked place or clinician-only edge. Ordering rules 1, 2, 5,
7 and 8: opening, trunk before limb, long strokes, closing. It shares no code with the validator.
"""

from collections.abc import Sequence
from itertools import pairwise

import networkx as nx

from clinic.common.vocabulary import Precaution
from programmes.body.situation import Situation
from programmes.body.steps import Step, Technique
from programmes.body.territory import territory_map

NECK = {"supraclav_R", "supraclav_L", "cervical_R", "cervical_L"}
LEFT_OUT_BY = {
    Precaution.NECK_MASS: {"neck"},
    Precaution.PREGNANCY: {"abdomen_deep"},
    Precaution.ABDOMINAL_SURGERY: {"abdomen_deep", "abdomen_surface"},
    Precaution.FRAGILE_LIMB_SKIN: {"arm", "leg"},
}
BREATHS = (Technique.BELLY_BREATHING, Technique.EASY_BREATHING)


def forbidden_places(situation: Situation) -> set[str]:
    regions = set().union(*(LEFT_OUT_BY[word] for word in situation.precautions))
    places = territory_map().places.values()
    return {p.id for p in places if p.region in regions and p.kind != "terminus"}


def sinks(situation: Situation) -> set[str]:
    """Basins from which fluid reaches a vein inside the body once the treated ones are gone."""
    treated = {
        f"{basin}_{'L' if side == 'left' else 'R'}" for basin, side in situation.basins_not_working
    }
    world = territory_map()
    inside = nx.DiGraph()
    inside.add_nodes_from(world.places)
    inside.add_edges_from(
        (a, b) for a, b, flow in world.graph.edges(data="flow") if flow == "inner"
    )
    inside.remove_nodes_from(treated)
    veins = {p.id for p in world.places.values() if p.kind == "terminus"}
    working = {p.id for p in world.places.values() if p.is_basin and p.id not in treated}
    return {
        basin
        for basin in working - forbidden_places(situation)
        if nx.descendants(inside, basin) & veins
    }


def is_sound(steps: Sequence[Step], situation: Situation) -> bool:
    """True if the order breaks no rule; repetitions are judged elsewhere."""
    return all(
        rule(steps, situation)
        for rule in (
            _touches_nothing_forbidden,
            _moves_into_room,
            _moves_have_no_cycle,
            _bridges_go_one_way,
            _trunk_comes_first,
            _limbs_go_outward,
            _opens_well,
            _closes_well,
        )
    )


def _strokes(steps: Sequence[Step]) -> list[tuple[int, Step]]:
    return [(i, s) for i, s in enumerate(steps) if s.path and s.technique != Technique.SWEEP]


def _first_cleared(steps: Sequence[Step]) -> dict[str, int]:
    return {s.path[0]: i for i, s in reversed(_strokes(steps))}


def _circled(steps: Sequence[Step], node: str) -> list[int]:
    return [
        i
        for i, s in enumerate(steps)
        if s.technique == Technique.CIRCLES and not s.path and node in (s.node, *s.also)
    ]


def _is_limb(node: str) -> bool:
    return territory_map().places[node].kind == "limb_segment"


def _is_trunk(node: str) -> bool:
    return territory_map().places[node].kind in ("territory", "watershed_strip")


def _touches_nothing_forbidden(steps: Sequence[Step], situation: Situation) -> bool:
    touched = {n for s in steps for n in (s.node, *s.also, *s.path) if n}
    return not touched & forbidden_places(situation)


def _moves_into_room(steps: Sequence[Step], situation: Situation) -> bool:
    world, first, ends = territory_map(), _first_cleared(steps), sinks(situation)

    def has_room(node: str, at: int) -> bool:
        if world.places[node].is_basin:
            return node in ends and any(i < at for i in _circled(steps, node))
        return first.get(node, at) < at

    for at, step in enumerate(steps):
        for start, end in pairwise(step.path):
            if not world.graph.has_edge(start, end):
                return False
            if world.graph.edges[start, end]["flow"] == "inner":
                return False
            if world.edges[start, end].clinician_only and not situation.options.lesser_routes:
                return False
            if not has_room(end, at):
                return False
        if step.technique == Technique.SWEEP and first.get(step.path[0], at) >= at:
            return False
    return True


def _moves_have_no_cycle(steps: Sequence[Step], situation: Situation) -> bool:
    moves = nx.DiGraph(move for step in steps for move in pairwise(step.path))
    return nx.is_directed_acyclic_graph(moves)


def _bridges_go_one_way(steps: Sequence[Step], situation: Situation) -> bool:
    crossings = territory_map().crossings
    used = {crossings[m] for s in steps for m in pairwise(s.path) if m in crossings}
    return len({family for family, _ in used}) == len(used)


def _trunk_comes_first(steps: Sequence[Step], situation: Situation) -> bool:
    first = _first_cleared(steps)
    trunk = [at for node, at in first.items() if _is_trunk(node)]
    limb = [at for node, at in first.items() if _is_limb(node)]
    return not trunk or not limb or max(trunk) < min(limb)


def _limbs_go_outward(steps: Sequence[Step], situation: Situation) -> bool:
    first, places = _first_cleared(steps), territory_map().places
    for limb in {places[node].limb for node in first if _is_limb(node)}:
        at = sorted((places[n].rank, i) for n, i in first.items() if places[n].limb == limb)
        if [i for _, i in at] != sorted(i for _, i in at):
            return False
    return True


def _opens_well(steps: Sequence[Step], situation: Situation) -> bool:
    opening: list[Step] = []
    for step in steps:
        neck_circles = step.technique == Technique.CIRCLES and not step.path
        if step.technique not in BREATHS and not (neck_circles and {step.node, *step.also} <= NECK):
            break
        opening.append(step)
    nodes = {node for step in opening for node in (step.node, *step.also)}
    breathes = any(step.technique in BREATHS for step in opening)
    return breathes and not NECK - forbidden_places(situation) - nodes


def _closes_well(steps: Sequence[Step], situation: Situation) -> bool:
    if not steps or steps[-1].technique not in BREATHS:
        return False
    places, first = territory_map().places, _first_cleared(steps)
    sweeps = {places[s.path[0]].limb: i for i, s in enumerate(steps) if s.technique == "sweep"}
    for node, at in first.items():
        if _is_limb(node) and sweeps.get(places[node].limb, -1) < at:
            return False
    last = max([*first.values(), *sweeps.values()], default=-1)
    after = [m for i, s in enumerate(steps) if i > last for m in pairwise(s.path)]
    moves = [m for s in steps for m in pairwise(s.path)]
    crossings = territory_map().crossings
    crossed = {crossings[m][0] for m in moves if m in crossings}
    if crossed - {crossings[m][0] for m in after if m in crossings}:
        return False
    received = {end for _, end in moves} & sinks(situation)
    return all(max(_circled(steps, node), default=-1) > last for node in received)
