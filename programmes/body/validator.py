"""Is this order of steps sound? Simulates which places are cleared and reports every violation.

Works on any order, a therapist's edits included, and reads nothing of how it was planned. Sources:
care page, proof rule 1.7 (a) to (g) and ordering rules 1 to 9; map rules P1 to P12.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from clinic.common.vocabulary import Word
from programmes.body.counting import count_for
from programmes.body.dose import DEFAULT_DOSE, Dose
from programmes.body.situation import Situation
from programmes.body.steps import Step, Technique
from programmes.body.terrain import Terrain, terrain_of
from programmes.body.territory import TerritoryMap, territory_map

NECK_BASINS = ("supraclav_R", "supraclav_L", "cervical_R", "cervical_L")


class Fault(Word):
    """What is wrong with a step."""

    BARRED = "barred", "barred by a precaution"
    FORBIDDEN = "forbidden", "forbidden region"
    NO_WAY = "no_way", "no such way on the map"
    CLINICIAN_ONLY = "clinician_only", "lesser route not switched on"
    UNCLEARED = "uncleared", "into a place not yet cleared"
    UNPREPARED = "unprepared", "into a basin not yet prepared"
    NOT_WORKING = "not_working", "toward a basin that does not work"
    LIMB_BEFORE_TRUNK = "limb_before_trunk", "limb before trunk"
    LIMB_ORDER = "limb_order", "limb out of order"
    SWEEP_EARLY = "sweep_early", "long strokes before clearing"
    BOTH_WAYS = "both_ways", "bridge used both ways"
    MOVED_BACK = "moved_back", "fluid moved back"
    NO_OPENING = "no_opening", "opening missing"
    NO_SWEEP = "no_sweep", "long strokes missing"
    NO_CLOSING = "no_closing", "closing missing"
    TOO_FEW = "too_few", "too few repetitions"
    TOO_MANY = "too_many", "too many repetitions"


@dataclass(frozen=True)
class Violation:
    """One thing wrong. `index` is the step's place from 0, None for the programme as a whole."""

    fault: Fault
    index: int | None
    sentence: str


def violations(
    steps: Sequence[Step],
    situation: Situation,
    *,
    dose: Dose = DEFAULT_DOSE,
    territory: TerritoryMap | None = None,
) -> tuple[Violation, ...]:
    """Every violation, in the order of the steps; empty if the programme is sound.

    A place counts as cleared after the first step that moves fluid out of it, even a faulty one,
    so that one mistake is reported once and not again at each later step.
    """
    territory = territory or territory_map()
    terrain = terrain_of(situation, territory)
    walk = _Walk(terrain, dose, tuple(steps))
    found = [*_barred(terrain), *walk.through()]
    return tuple(sorted(found, key=lambda one: -1 if one.index is None else one.index))


def _barred(terrain: Terrain) -> Iterator[Violation]:
    for effect in (*terrain.effects.barring, *terrain.effects.awaiting_clearance):
        yield Violation(Fault.BARRED, None, effect.reason)


class _Walk:
    """One pass through the steps. Keeps what is cleared, prepared, crossed and moved so far."""

    def __init__(self, terrain: Terrain, dose: Dose, steps: tuple[Step, ...]) -> None:
        self.terrain = terrain
        self.places = terrain.territory.places
        self.dose = dose
        self.steps = steps
        self.cleared: dict[str, int] = {}
        self.prepared: dict[str, int] = {}
        self.crossed: dict[str, tuple[str, int]] = {}
        self.swept: dict[str, int] = {}
        self.received: dict[str, int] = {}
        self.moved: dict[str, set[str]] = {}

    def through(self) -> Iterator[Violation]:
        for index, step in enumerate(self.steps):
            if not step.touched <= self.places.keys():
                yield Violation(Fault.NO_WAY, index, "Names a place that is not on the map.")
                continue
            yield from self._touch(index, step)
            yield from self._count(index, step)
            if step.technique is Technique.SWEEP:
                yield from self._sweep(index, step)
            elif step.path:
                yield from self._move(index, step)
            elif step.technique is Technique.CIRCLES:
                self.prepared.update(dict.fromkeys(step.nodes, index))
        yield from self._opening()
        yield from self._trunk_first()
        yield from self._closing()

    def _touch(self, index: int, step: Step) -> Iterator[Violation]:
        touched = sorted(step.touched & self.terrain.forbidden)
        if touched:
            yield Violation(
                Fault.FORBIDDEN, index, f"Touches the {self._names(touched)}, which is forbidden."
            )

    def _count(self, index: int, step: Step) -> Iterator[Violation]:
        allowed = count_for(step, self.dose, self.terrain.territory).allowed
        sentence = f"{step.repetitions} repetitions; the sources give {allowed}."
        if step.repetitions < allowed.low:
            yield Violation(Fault.TOO_FEW, index, sentence)
        elif step.repetitions > allowed.high:
            yield Violation(Fault.TOO_MANY, index, sentence)

    def _move(self, index: int, step: Step) -> Iterator[Violation]:
        start = self.places[step.path[0]]
        if start.is_limb and step.path[0] not in self.cleared:
            yield from self._root_first(index, start.limb, start.rank)
        for move in step.moves:
            yield from self._way(index, move)
            yield from self._destination(index, move[1])
        self.cleared.setdefault(step.path[0], index)

    def _sweep(self, index: int, step: Step) -> Iterator[Violation]:
        early = [n for n in step.path if self.places[n].is_limb and n not in self.cleared]
        if early or not step.path:
            yield Violation(
                Fault.SWEEP_EARLY,
                index,
                f"Long strokes run over the {self._names(early)} before it is cleared."
                if early
                else "These long strokes lead nowhere.",
            )
        for move in step.moves:
            yield from self._way(index, move)
            if not self.places[move[1]].is_limb:
                yield from self._destination(index, move[1])
        if step.path:
            self.swept[self.places[step.path[0]].limb] = index

    def _way(self, index: int, move: tuple[str, str]) -> Iterator[Violation]:
        """Is there a way, is it switched on, and does it run against an earlier move?"""
        edge = self.terrain.territory.edges.get(move)
        start, end = (self.places[node].name for node in move)
        if edge is None or not edge.is_manual:
            yield Violation(Fault.NO_WAY, index, f"No way leads from the {start} to the {end}.")
        elif edge.clinician_only and not self.terrain.lesser_routes:
            sentence = f"The way from the {start} to the {end} must be switched on by a clinician."
            yield Violation(Fault.CLINICIAN_ONLY, index, sentence)
        if self._against_a_bridge(index, move):
            yield Violation(
                Fault.BOTH_WAYS, index, "Crosses a bridge against the way it was crossed before."
            )
        elif self._leads(move[1], move[0]):
            sentence = f"Moves fluid back to the {end}, where it came from."
            yield Violation(Fault.MOVED_BACK, index, sentence)
        self.moved.setdefault(move[0], set()).add(move[1])

    def _destination(self, index: int, end: str) -> Iterator[Violation]:
        """Fluid may go only into a prepared working basin or a place cleared before."""
        place = self.places[end]
        if not place.is_basin:
            if end not in self.cleared:
                sentence = f"Moves fluid into the {place.name}, which is not cleared yet."
                yield Violation(Fault.UNCLEARED, index, sentence)
            return
        if end not in self.terrain.sinks and end not in self.terrain.forbidden:
            sentence = f"Ends in the {place.name}, which do not work; a bridge must lead elsewhere."
            yield Violation(Fault.NOT_WORKING, index, sentence)
        elif end in self.terrain.sinks and end not in self.prepared:
            sentence = f"Moves fluid into the {place.name}, which are not prepared yet."
            yield Violation(Fault.UNPREPARED, index, sentence)
        if end in self.terrain.sinks:
            self.received.setdefault(end, index)

    def _against_a_bridge(self, index: int, move: tuple[str, str]) -> bool:
        if move not in self.terrain.territory.crossings:
            return False
        family, way = self.terrain.territory.crossings[move]
        first, _ = self.crossed.get(family, (way, index))
        self.crossed[family] = (first, index)
        return first != way

    def _leads(self, start: str, end: str) -> bool:
        """True if moves made so far carry fluid from start to end."""
        seen, waiting = set(), [start]
        while waiting:
            node = waiting.pop()
            if node == end:
                return True
            if node not in seen:
                seen.add(node)
                waiting.extend(self.moved.get(node, ()))
        return False

    def _root_first(self, index: int, limb: str, rank: int) -> Iterator[Violation]:
        farther = [n for n in self.cleared if self._is_farther(n, limb, rank)]
        if farther:
            sentence = f"Comes after the {self._names(farther[:1])}; work from the root outward."
            yield Violation(Fault.LIMB_ORDER, index, sentence)

    def _is_farther(self, node: str, limb: str, rank: int) -> bool:
        return self.places[node].limb == limb and self.places[node].rank > rank

    def _trunk_first(self) -> Iterator[Violation]:
        """Of the limb steps that come too early and the trunk steps too late, names the fewer."""
        limb = {node: at for node, at in self.cleared.items() if self.places[node].is_limb}
        trunk = {node: at for node, at in self.cleared.items() if self.places[node].is_trunk}
        if not limb or not trunk:
            return
        early = [at for at in limb.values() if at < max(trunk.values())]
        late = [at for at in trunk.values() if at > min(limb.values())]
        if len(early) <= len(late):
            for index in early:
                sentence = "Works on the limb before the trunk is cleared; trunk first."
                yield Violation(Fault.LIMB_BEFORE_TRUNK, index, sentence)
        else:
            for index in late:
                sentence = "Clears the trunk only after the limb was begun; trunk first."
                yield Violation(Fault.LIMB_BEFORE_TRUNK, index, sentence)

    def _opening(self) -> Iterator[Violation]:
        """Breathing and neck first, in either order (BP06, LEG, NI; neck first MDA, RBR)."""
        first = next((i for i, step in enumerate(self.steps) if not _opens(step)), None)
        opening = self.steps[:first]
        if not any(step.technique.is_breathing for step in opening):
            yield Violation(Fault.NO_OPENING, first, "Begins without slow breathing.")
        circled = {node for step in opening for node in step.nodes}
        missing = [n for n in NECK_BASINS if n not in circled | self.terrain.forbidden]
        if missing:
            sentence = f"Begins without the {self._names(missing)}."
            yield Violation(Fault.NO_OPENING, first, sentence)

    def _closing(self) -> Iterator[Violation]:
        """Long strokes, bridges and receiving basins again, breathing last."""
        end = len(self.steps) - 1 if self.steps else None
        for limb, at in self._last_cleared().items():
            if self.swept.get(limb, -1) < at:
                sentence = f"No long strokes up the {self._limb_name(limb)} after it is cleared."
                yield Violation(Fault.NO_SWEEP, end, sentence)
        last = max([*self.cleared.values(), *self.swept.values()], default=-1)
        if any(at <= last for _, at in self.crossed.values()):
            yield Violation(Fault.NO_CLOSING, end, "Ends without opening each bridge once more.")
        tired = [node for node in self.received if self.prepared.get(node, -1) <= last]
        if tired:
            sentence = f"Ends without the {self._names(tired)} once more."
            yield Violation(Fault.NO_CLOSING, end, sentence)
        if not self.steps or not self.steps[-1].technique.is_breathing:
            yield Violation(Fault.NO_CLOSING, end, "Ends without slow breathing.")

    def _last_cleared(self) -> dict[str, int]:
        last: dict[str, int] = {}
        for node, at in self.cleared.items():
            if self.places[node].is_limb:
                last[self.places[node].limb] = max(at, last.get(self.places[node].limb, -1))
        return last

    def _limb_name(self, limb: str) -> str:
        side = self.places[self.terrain.territory.segments_of(limb)[0]].side
        return f"{side.label if side else ''} {limb.split('_', maxsplit=1)[0]}"

    def _names(self, nodes: Iterable[str]) -> str:
        return ", ".join(self.places[node].name for node in nodes)


def _opens(step: Step) -> bool:
    """True for the steps a programme may begin with: breathing, and circles on the neck."""
    on_neck = (
        step.technique is Technique.CIRCLES
        and not step.path
        and set(step.nodes) <= set(NECK_BASINS)
    )
    return step.technique.is_breathing or on_neck
