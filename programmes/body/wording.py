"""The words a client reads: place, direction, hand, position and why. Reading level about grade 6.

Sources of the touch rules: LEG, NI, NZ (flat hand, skin stretch, no sliding); BP06, NI, NZ, PORT
(redness or pain is too hard); LEG, NI, NZ (bare skin, no oil or cream); GEN (compression back on).
The word "left" is kept for the side, so nothing here is "left out".
"""

from typing import TypedDict

from programmes.body.steps import Chapter, Step, Technique
from programmes.body.territory import Place, TerritoryMap

TOUCH_RULES = (
    "Stretch the skin. Do not slide over it.",
    "Use a flat, soft hand. Go slow. Let the skin come back by itself.",
    "Work on bare skin when you can. Use no lotion and no oil.",
    "Be lighter when in doubt. A hard press shuts the small vessels.",
    "Red skin or pain means you press too hard.",
    "Do this each day. It helps to prevent swelling too.",
    "Put your sleeve, stocking or bandage back on after.",
)
PAIRS = {
    "supraclav": "hollows above both collarbones",
    "cervical": "both sides of the neck",
}
# Lying or reclined: LEG, BP06. Reclined suits those too who may not lie flat, as late in pregnancy.
RECLINED = "Lie back on pillows with your knees bent."
HEAD_RAISED = "Sit, or lie with your head raised."
TURNED = "Lie back on pillows, or turn a bit to the other side."
LEAN_FORWARD = "Sit and lean on a table, so your helper can reach your back."
# Limb raised: common practice, no source.
ARM_RAISED = "Prop the arm on pillows, a bit above your heart."
LEG_RAISED = "Lie with the leg on pillows and the knee a bit bent."
POSITIONS = {
    "neck": HEAD_RAISED,
    "head": HEAD_RAISED,
    "trunk_side": TURNED,
    "trunk_back_upper": LEAN_FORWARD,
    "trunk_back_lower": LEAN_FORWARD,
    "arm": ARM_RAISED,
    "leg": LEG_RAISED,
}
BREATHING = {
    Technique.BELLY_BREATHING: (
        "Breathe in through your nose and let your belly rise. "
        "As you breathe out, press lightly with your hands."
    ),
    Technique.EASY_BREATHING: (
        "Breathe in slowly through your nose. Breathe out slowly. Do not press."
    ),
}
ARMS_REST = "Rest your arms at your sides. Keep your hands off your belly."
BREATH_OPENS = "Slow breaths draw fluid in to the deep vessels."
BREATH_CLOSES = "Slow breaths help the fluid on its way back to the blood."
BY_HELPER = "Your helper lays a flat hand here."
TREATED = "The nodes here were treated. Light circles keep the skin soft. We send no fluid here."


class Words(TypedDict):
    """The sentences of one step."""

    place: str
    direction: str
    hand: str
    position: str
    why: str


def words_for(
    step: Step, territory: TerritoryMap, *, sinks: frozenset[str], outlet: str, by_helper: bool
) -> Words:
    """Every sentence a client reads about a step: place, direction, hand, position and why.

    `sinks` are the basins that take fluid; `outlet` is the map id of the basin that this step's
    fluid ends in, empty for a step on the spot. A place already worded is kept.
    """
    if step.node is None or step.technique.is_breathing:
        return _breathing(step, territory)
    place = territory.places[step.node]
    is_treated = place.is_basin and step.node not in sinks
    return {
        "place": step.place or _place(step, place),
        "direction": _direction(step, place, territory),
        "hand": BY_HELPER if by_helper else _hand(step, place),
        "position": LEAN_FORWARD if by_helper else POSITIONS.get(place.region, RECLINED),
        "why": TREATED if is_treated else _why(step, place, _plain(outlet, territory)),
    }


def _breathing(step: Step, territory: TerritoryMap) -> Words:
    opens = step.chapter is Chapter.OPENING
    return {
        "place": "belly" if step.node else "whole body",
        "direction": BREATHING[step.technique],
        "hand": territory.places[step.node].hand if step.node else ARMS_REST,
        "position": RECLINED,
        "why": BREATH_OPENS if opens else BREATH_CLOSES,
    }


def _place(step: Step, place: Place) -> str:
    if step.technique is Technique.SWEEP:
        return f"whole {_limb_words(place)}, {_sweep_side(step)}"
    words = PAIRS.get(place.id[:-2], place.plain) if step.also else place.plain
    parts = [part.words for part in place.parts if part.key in step.parts]
    return f"{words}: {', then '.join(parts)}" if parts else words


def _direction(step: Step, place: Place, territory: TerritoryMap) -> str:
    if not step.path:
        return f"Make slow circles. Ease the skin {place.prep or 'round'}."
    end = _plain(step.path[-1], territory)
    if step.technique is Technique.SWEEP:
        limb = _limb_words(place)
        return f"Go up the {_sweep_side(step)} of the {limb} in long, light stretches to the {end}."
    if len(step.path) > 2:
        return f"Go in slow, light stretches, hand width by hand width, to the {end}."
    toward = territory.edges[step.moves[0]].direction
    if step.technique is Technique.FINGER_PASSES:
        return f"Do each one by itself. Ease the skin {toward}."
    widths = ", hand width by hand width" if place.hand_widths > 1 else ""
    return f"Ease the skin {toward}{widths}."


def _hand(step: Step, place: Place) -> str:
    if step.technique is Technique.SWEEP:
        return f"Lay your whole hand flat and light on the {_limb_words(place)}."
    return place.hand


def _why(step: Step, place: Place, outlet: str) -> str:
    by_chapter = {
        Chapter.OPENING: "All fluid flows back to the blood near here. Clear this way first.",
        Chapter.RECEIVING: "These nodes work well. Wake them up first, so they can take fluid.",
        Chapter.BRIDGES: f"This opens the bridge. Fluid will leave by the {outlet}.",
        Chapter.TRUNK: "This makes room before more fluid comes in.",
        Chapter.HEAD_NECK: "The place below is clear now, so this one can drain down.",
        Chapter.SWEEP: "This takes the freed fluid up to the trunk in one go.",
        Chapter.CLOSING: "This keeps the way to the blood clear.",
    }
    if step.chapter in by_chapter:
        return by_chapter[step.chapter]
    if step.chapter is Chapter.LIMB:
        return _why_limb(place)
    if place.is_basin:
        return "Help these nodes pass on the fluid they took."
    return "Take the fluid over the bridge once more."


def _why_limb(place: Place) -> str:
    if place.rank == 1:
        return "Start near the trunk, so the rest has a free way up."
    return "The part above is clear now, so this one can drain up."


def _plain(node: str, territory: TerritoryMap) -> str:
    return territory.places[node].plain if node else ""


def _limb_words(place: Place) -> str:
    limb = place.limb.split("_")[0]
    return f"{place.side.label} {limb}" if place.side else limb


def _sweep_side(step: Step) -> str:
    return "inside" if any("_inner_" in node for node in step.path) else "outside"
