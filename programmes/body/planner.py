"""The order of a home programme, built for one body.

Breathing, neck and collarbone, the working basins, the bridges toward them, the trunk, the limb
from its root to its end, long strokes back, the bridges and the receiving basins again, neck,
breathing. Sources: care page, ordering rules 1 to 10 (BP06, LEG, NI, MDA, RBR, PORT, RBA, GEN,
WOOD; rule 7, the long strokes, is common practice, no source) and map rules P1 to P12.

The usual caution: a proposal for a licensed clinician, who judges the client and local rules.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from clinic.common.vocabulary import Basin, Side
from programmes.body.counting import count_for, minutes_of
from programmes.body.dose import DEFAULT_DOSE, Dose
from programmes.body.errors import NoSafeRoute, WhyNoRoute
from programmes.body.leaving_out import LeftOut, left_out, notes_for
from programmes.body.routes import UPPER, Chain, Routes, find_routes
from programmes.body.situation import Situation
from programmes.body.steps import Chapter, Step, Technique
from programmes.body.terrain import DEEP_BELLY, Terrain, terrain_of
from programmes.body.territory import Flow, TerritoryMap, node_of, territory_map
from programmes.body.wording import words_for


@dataclass(frozen=True)
class Plan:
    """An ordered programme, what it leaves out and why.

    `notes` are for the record, `client_notes` for the handout. `receiving` are the basins that
    take the fluid, `bridges` the codes of the bridges opened.
    """

    steps: tuple[Step, ...]
    left_out: tuple[LeftOut, ...]
    notes: tuple[str, ...]
    client_notes: tuple[str, ...]
    receiving: tuple[str, ...]
    bridges: tuple[str, ...]
    times_a_day: int

    @property
    def minutes(self) -> float:
        """Estimated minutes of one session."""
        return sum(step.minutes for step in self.steps)


def plan(
    situation: Situation, *, dose: Dose = DEFAULT_DOSE, territory: TerritoryMap | None = None
) -> Plan:
    """The programme for this situation. Raises NoSafeRoute when none is safe."""
    territory = territory or territory_map()
    terrain = terrain_of(situation, territory)
    _refuse_if_barred(terrain)
    routes = find_routes(situation, terrain)
    drafts = _Draft(situation, terrain, routes, dose).steps()
    steps = tuple(_finished(step, terrain, routes, dose) for step in drafts)
    notes, client_notes = notes_for(situation, terrain, steps)
    return Plan(
        steps=steps,
        left_out=left_out(situation, terrain, routes),
        notes=notes,
        client_notes=client_notes,
        receiving=tuple(sorted(routes.receiving)),
        bridges=tuple(chain.code for chain in routes.chains),
        times_a_day=dose.times_a_day.default,
    )


def _refuse_if_barred(terrain: Terrain) -> None:
    for effects, why in (
        (terrain.effects.barring, WhyNoRoute.BARRED),
        (terrain.effects.awaiting_clearance, WhyNoRoute.UNCLEARED_PRECAUTION),
    ):
        if effects:
            raise NoSafeRoute(why, precautions=tuple(effect.precaution for effect in effects))


def _finished(step: Step, terrain: Terrain, routes: Routes, dose: Dose) -> Step:
    """The draft with its count, minutes, helper mark and words."""
    territory = terrain.territory
    by_helper = any(territory.places[node].hard_to_reach for node in step.touched)
    repetitions = count_for(step, dose, territory).default
    words = words_for(
        step,
        territory,
        sinks=terrain.sinks,
        outlet=routes.outlet_of(step.toward or ""),
        by_helper=by_helper,
    )
    return replace(
        step,
        repetitions=repetitions,
        minutes=minutes_of(step, dose, territory, repetitions=repetitions),
        needs_helper=by_helper,
        **words,
    )


class _Draft:
    """Steps in order, without counts and words. Remembers what it has cleared."""

    def __init__(self, situation: Situation, terrain: Terrain, routes: Routes, dose: Dose) -> None:
        self.situation = situation
        self.terrain = terrain
        self.places = terrain.territory.places
        self.routes = routes
        self.dose = dose
        self.cleared: set[str] = set()

    def steps(self) -> Iterator[Step]:
        yield self._breathing(Chapter.OPENING)
        yield from self._neck(Chapter.OPENING)
        yield from self._basins()
        for chain in self.routes.chains:
            yield from self._bridge(chain)
        yield from self._trunk()
        yield from self._head_and_neck()
        for limb in self._limbs():
            yield from self._limb(limb)
        yield from self._bridges_again()
        yield from self._basins_again()
        yield from reversed(list(self._neck(Chapter.CLOSING)))
        yield self._breathing(Chapter.CLOSING)

    def _breathing(self, chapter: Chapter) -> Step:
        if DEEP_BELLY in self.terrain.forbidden:
            return Step(Technique.EASY_BREATHING, None, chapter, 0)
        return Step(Technique.BELLY_BREATHING, DEEP_BELLY, chapter, 0)

    def _neck(self, chapter: Chapter) -> Iterator[Step]:
        for basin in (Basin.SUPRACLAV, Basin.CERVICAL):
            nodes = [node_of(basin, side) for side in reversed(self.situation.sides)]
            nodes = [node for node in nodes if node not in self.terrain.forbidden]
            if nodes:
                yield self._circles(nodes[0], chapter, also=tuple(nodes[1:]))

    def _basins(self) -> Iterator[Step]:
        """Working basins that take fluid, far side first; a treated armpit in its place."""
        for basin in (Basin.AXILLA, Basin.GROIN):
            for side in reversed(self.situation.sides):
                node = node_of(basin, side)
                if node in self.routes.receiving or self._is_treated_armpit(basin, side):
                    yield self._circles(node, Chapter.RECEIVING)

    def _is_treated_armpit(self, basin: Basin, side: Side) -> bool:
        """True for the armpit that is worked in its place: common practice, no source."""
        node = node_of(basin, side)
        return (
            basin is Basin.AXILLA
            and (basin, side) in self.situation.treated_basins
            and node not in self.terrain.forbidden
            and self.situation.affects(side, *UPPER)
        )

    def _bridge(self, chain: Chain) -> Iterator[Step]:
        """Strip by strip from the working side; then the treated armpit once more."""
        for node in reversed(chain.path[:-1]):
            if self.places[node].is_trunk:
                yield from self._clear(node, Chapter.BRIDGES)
        side = self.places[chain.path[0]].side
        if chain.code == "AAA" and side and self._is_treated_armpit(Basin.AXILLA, side):
            yield self._circles(node_of(Basin.AXILLA, side), Chapter.BRIDGES)

    def _trunk(self) -> Iterator[Step]:
        """The trunk regions affected, and those the limbs or the head drain over."""
        for node in self._below(self.routes.segments):
            if self.places[node].is_trunk:
                yield from self._clear(node, Chapter.TRUNK)

    def _head_and_neck(self) -> Iterator[Step]:
        starts = [*self.routes.segments, *(chain.path[0] for chain in self.routes.chains)]
        segments = [node for node in self._below(starts) if self._is_head_or_neck(node)]
        for node in sorted(segments, key=lambda node: self.places[node].rank):
            yield from self._clear(node, Chapter.HEAD_NECK)

    def _is_head_or_neck(self, node: str) -> bool:
        place = self.places[node]
        return not (place.is_basin or place.is_limb or place.is_trunk)

    def _limbs(self) -> list[str]:
        """Limbs worked, the side done first before the other, arms before legs."""
        worked = [self.places[node] for node in self.routes.segments if self.places[node].is_limb]
        order = sorted(
            {place.limb: place.side for place in worked}.items(),
            key=lambda limb: (limb[1] is not self.situation.lead, limb[0]),
        )
        return [limb for limb, _ in order]

    def _limb(self, limb: str) -> Iterator[Step]:
        """Root to end, then long strokes from the end back to the trunk."""
        segments = [n for n in self.terrain.territory.segments_of(limb) if n in self.routes.moves]
        for node in segments:
            yield from self._clear(node, Chapter.LIMB)
        for path in self._sweep_paths(segments[-1]):
            yield Step(Technique.SWEEP, segments[-1], Chapter.SWEEP, 0, path=path)

    def _sweep_paths(self, farthest: str) -> list[tuple[str, ...]]:
        """The usual ways up the inside and up the outside of the limb, one each."""
        main = self._way_up((farthest,))
        paths = [main]
        for step, node in enumerate(main[:-1]):
            for edge in self.terrain.territory.leaving[node]:
                if edge.flow is Flow.LIMB and edge.end in self.cleared - {main[step + 1]}:
                    paths.append(self._way_up((*main[: step + 1], edge.end)))
        by_side = {"_inner_" in "".join(path): path for path in reversed(paths)}
        return [by_side[is_inner] for is_inner in (True, False) if is_inner in by_side]

    def _way_up(self, path: tuple[str, ...]) -> tuple[str, ...]:
        while self.places[path[-1]].is_limb:
            path = (*path, self.routes.moves[path[-1]][0])
        return path

    def _bridges_again(self) -> Iterator[Step]:
        for chain in self.routes.chains:
            yield Step(
                Technique.BRIDGING,
                chain.path[0],
                Chapter.AGAIN,
                0,
                path=chain.path,
                parts=self._parts(chain.path[0]),
                place=chain.plain,
            )

    def _basins_again(self) -> Iterator[Step]:
        for basin in (Basin.AXILLA, Basin.GROIN):
            for side in reversed(self.situation.sides):
                if node_of(basin, side) in self.routes.receiving:
                    yield self._circles(node_of(basin, side), Chapter.AGAIN)

    def _below(self, starts: Iterable[str]) -> list[str]:
        """These places and all that their fluid passes, basins excepted."""
        found: dict[str, None] = {}
        waiting = list(starts)
        while waiting:
            place = waiting.pop(0)
            if place in self.routes.moves and place not in found:
                found[place] = None
                waiting.extend(self.routes.moves[place])
        return list(found)

    def _clear(self, node: str, chapter: Chapter) -> Iterator[Step]:
        """Steps that clear a place, those it drains to before it."""
        if node in self.cleared or node not in self.routes.moves:
            return
        for end in self.routes.moves[node]:
            yield from self._clear(end, chapter)
        self.cleared.add(node)
        for end in self.routes.moves[node]:
            yield self._stroke(node, end, chapter)

    def _stroke(self, node: str, end: str, chapter: Chapter) -> Step:
        technique = Technique.CIRCLES
        if chapter is Chapter.BRIDGES or self.terrain.territory.edges[node, end].bridge:
            technique = Technique.BRIDGING
        elif node.startswith(("fingers", "toes")):
            technique = Technique.FINGER_PASSES
        return Step(technique, node, chapter, 0, path=(node, end), parts=self._parts(node))

    def _circles(self, node: str, chapter: Chapter, *, also: tuple[str, ...] = ()) -> Step:
        return Step(Technique.CIRCLES, node, chapter, 0, also=also, parts=self._parts(node))

    def _parts(self, node: str) -> tuple[str, ...]:
        return tuple(part.key for part in self.places[node].parts)
