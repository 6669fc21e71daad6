"""The words on and about a drawing. Short, plain, about grade 6."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from programmes.drawing.motif import Motif, stem
from programmes.drawing.views import PICTURE_HEIGHT, PICTURE_WIDTH, Shot

Anchor = Literal["start", "middle", "end"]
OPPOSITE: dict[Anchor, Anchor] = {"start": "end", "middle": "middle", "end": "start"}
BASELINE = PICTURE_HEIGHT + 21
MARGIN = 8.0
# "your right" is the longer of the two, so the middle of the gap lies a little off.
LONGER_RIGHT = 4.0

SEEN = {
    "front": "seen from the front",
    "back": "seen from behind",
    "head_front": "seen from the front",
    "head_back": "seen from behind",
    "head_side": "seen from the side",
    "hand_palm": "palm side",
    "hand_back": "back of the hand",
    "foot_top": "seen from above",
}
SINGLE = {
    "front": "your left arm, front",
    "back": "your left arm, back",
    "head_side": "your left side",
    "hand_palm": "your left palm",
    "hand_back": "back of left hand",
    "foot_top": "your left foot, top",
}


@dataclass(frozen=True)
class Label:
    """Words under the picture, page units."""

    x: float
    y: float
    anchor: Anchor
    text: str

    def turned(self, width: float) -> "Label":
        swapped = self.text.replace("left", "\0").replace("right", "left").replace("\0", "right")
        return replace(self, x=width - self.x, anchor=OPPOSITE[self.anchor], text=swapped)


def labels_of(motif: Motif, shot: Shot) -> tuple[Label, ...]:
    """Which side is which. One label where only one side is drawn."""
    if not shot.is_symmetric:
        text = "the same on both sides" if motif.also else SINGLE[shot.view]
        return (Label(PICTURE_WIDTH / 2, BASELINE, "middle", text),)
    first, last = "your right", "your left"
    if shot.outline.x_sign < 0:
        first, last = last, first
    sides = (
        Label(MARGIN, BASELINE, "start", first),
        Label(PICTURE_WIDTH - MARGIN, BASELINE, "end", last),
    )
    return (
        sides
        if shot.outline.x_sign > 0
        else (*sides, Label(PICTURE_WIDTH / 2 - LONGER_RIGHT, BASELINE, "middle", "back"))
    )


def titled(motif: Motif, view: str, names: Mapping[str, str]) -> str:
    """What the picture shows, such as "left elbow, seen from behind"."""
    if motif.has_hands:
        return "Both hands on the belly, seen from the front"
    if motif.node is None:
        return "The body at rest, seen from the front"
    named = " and ".join(names[node] for node in motif.places)
    return f"{named[:1].upper()}{named[1:]}, {SEEN[view]}"


def described(motif: Motif, names: Mapping[str, str]) -> str:
    """What is drawn on the body, in one or two sentences."""
    if motif.has_hands:
        return "Both hands lie flat on the belly."
    if motif.node is None:
        return "The arms rest at the sides. No hand is on the body."
    if motif.target is None:
        return "The place is shaded. A round arrow shows circles on the spot."
    if motif.technique == "finger_passes":
        digit = "finger" if stem(motif.node) == "fingers" else "toe"
        return f"An arrow runs down each {digit}, from its tip to the {names[motif.target]}."
    over = [names[node] for node in motif.path[1:-1]]
    by_way_of = f" by way of {', '.join(over)}" if over and motif.technique != "sweep" else ""
    return f"The place is shaded. An arrow goes to the {names[motif.target]}{by_way_of}."
