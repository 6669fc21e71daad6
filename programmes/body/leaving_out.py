"""What a programme leaves out, said once for the record and once for the client."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from clinic.common.vocabulary import Phase
from programmes.body.dose import SESSION_MIN
from programmes.body.routes import Routes
from programmes.body.situation import Situation
from programmes.body.steps import Step
from programmes.body.terrain import Exclusion, Terrain

HELPER_REASON = "Hard to reach alone; switch on a helper to include it."
HELPER_PLAIN = "We skip the back, as you cannot reach it alone."
BLOCKED_BRIDGE = "Its way lies over a region that may not be touched."
THERAPIST_LIMB = "The swollen limb is left to the therapist in this clinic (WOOD)."
THERAPIST_LIMB_PLAIN = "Your therapist does the arm or leg. You do the rest."


@dataclass(frozen=True)
class LeftOut:
    """Something not in the programme. `reason` is for the record, `plain` for the client."""

    what: str
    reason: str
    plain: str
    nodes: tuple[str, ...] = ()


def left_out(situation: Situation, terrain: Terrain, routes: Routes) -> tuple[LeftOut, ...]:
    """Everything the programme had to leave out, each with its reason."""
    return (
        *(_forbidden(exclusion, terrain) for exclusion in terrain.exclusions),
        *_closed_bridges(terrain, routes),
        *_unreached(terrain, routes),
        *_therapist_limb(situation),
    )


def notes_for(
    situation: Situation, terrain: Terrain, steps: Iterable[Step]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Notes for the record and notes for the client."""
    steps = tuple(steps)
    record = [*_precaution_notes(terrain), *_situation_notes(situation), *_length_note(steps)]
    client = [
        effect.plain
        for effect in terrain.effects.standing
        if not any(effect.precaution is one.precaution for one in terrain.exclusions)
    ]
    if any(step.needs_helper for step in steps):
        client.append("Ask your helper to do the steps on your back.")
    return tuple(record), tuple(dict.fromkeys(client))


def _forbidden(exclusion: Exclusion, terrain: Terrain) -> LeftOut:
    nodes = tuple(sorted(exclusion.nodes))
    regions = sorted({terrain.territory.places[node].region for node in nodes})
    what = exclusion.precaution.label if exclusion.precaution else ", ".join(regions)
    return LeftOut(what, exclusion.reason, exclusion.plain, nodes)


def _closed_bridges(terrain: Terrain, routes: Routes) -> Iterator[LeftOut]:
    for bridge in routes.closed:
        barred = any(node in terrain.forbidden for node in bridge.path)
        yield LeftOut(
            bridge.plain,
            BLOCKED_BRIDGE if barred else HELPER_REASON,
            f"We skip the {bridge.plain}." if barred else HELPER_PLAIN,
            bridge.path,
        )


def _unreached(terrain: Terrain, routes: Routes) -> Iterator[LeftOut]:
    if routes.dropped:
        names = ", ".join(terrain.territory.places[node].plain for node in routes.dropped)
        yield LeftOut(names, HELPER_REASON, HELPER_PLAIN, routes.dropped)


def _therapist_limb(situation: Situation) -> Iterator[LeftOut]:
    if situation.options.limb_by_therapist_only:
        yield LeftOut("swollen limb", THERAPIST_LIMB, THERAPIST_LIMB_PLAIN)


def _precaution_notes(terrain: Terrain) -> Iterator[str]:
    for effect in terrain.effects.standing:
        yield effect.reason
    for effect in terrain.effects.cleared:
        yield f"Cleared: {effect.precaution.label}."


def _situation_notes(situation: Situation) -> Iterator[str]:
    for basin, side in sorted(situation.basins_not_working & situation.basins_set_working):
        yield (
            f"The treated {side.label} {basin.label} is set to working by the clinician; "
            "the treated armpit still drains about two thirds of arms (Suami 2019)."
        )
    if situation.options.lesser_routes:
        yield "Lesser routes are switched on by the clinician."
    if situation.phase is Phase.INTENSIVE:
        yield "Intensive phase: limb steps only while the bandage is off."


def _length_note(steps: tuple[Step, ...]) -> Iterator[str]:
    minutes = sum(step.minutes for step in steps)
    if minutes > SESSION_MIN[1]:
        yield (
            f"About {minutes:.0f} minutes; leaflets keep to {SESSION_MIN[0]} to {SESSION_MIN[1]}. "
            "Consider two sessions, each with its opening and closing."
        )
