"""Which view of the figure shows a motif best, and how much of it. Schematic choices of ours.

A frame is the part of a view that is drawn. The smallest frame that holds the region and its
target is taken, so the region is as large as it can be and still has the body round it.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

from programmes.drawing.geometry import Box, box_of
from programmes.drawing.motif import Motif, stem
from programmes.drawing.outlines import Outline, landmark_of, outlines

# Picture of the body on the page, in page units; a band for the words lies below it.
PICTURE_WIDTH = 240.0
PICTURE_HEIGHT = 172.0

# Places whose parts lie on two surfaces get a picture for each: view, then the parts it shows.
BY_PARTS: dict[str, tuple[tuple[str, frozenset[str]], ...]] = {
    "elbow": (("front", frozenset({"front"})), ("back", frozenset({"back"}))),
    "forearm": (("front", frozenset({"front"})), ("back", frozenset({"back"}))),
    "knee": (("front", frozenset({"front"})), ("back", frozenset({"back"}))),
    "lower_leg": (("front", frozenset({"front"})), ("back", frozenset({"back"}))),
    "fingers": (("hand_palm", frozenset({"front"})), ("hand_back", frozenset({"back", "sides"}))),
    "cervical": (("front", frozenset({"side"})), ("head_side", frozenset({"behind_ear"}))),
}
# First choice for a place without such parts; the first view that shows region and target wins.
IN_ORDER = ("hand_back", "foot_top", "front", "back", "head_front", "head_side", "head_back")
FIRST: dict[str, tuple[str, ...]] = {
    "neck_side": ("head_side",),
    "neck_back": ("head_back", "head_side", "back"),
    "scalp_back": ("head_back",),
    "under_chin": ("head_side", "head_front"),
    "cheek": ("head_side",),
    "brow": ("head_front",),
    "cervical": ("front",),
    "supraclav": ("front",),
    "upper_back": ("back",),
    "lower_back": ("back",),
    "thigh_back": ("back",),
    "buttock": ("back",),
    "ankle": ("front",),
}


@dataclass(frozen=True)
class Shot:
    """One picture to be drawn: a view, the frame of it, and the parts it shows."""

    view: str
    frame: Box
    parts: tuple[str, ...] = ()

    @property
    def outline(self) -> Outline:
        return outlines()[self.view]

    @property
    def scale(self) -> float:
        """Page units for each cm."""
        return PICTURE_HEIGHT / (self.frame.high - self.frame.low)

    @property
    def is_symmetric(self) -> bool:
        """True if the midline is in the middle, so both sides can be named."""
        return self.outline.is_whole and self.frame.left == -self.frame.right


def _frame(middle_cm: float, low_cm: float, high_cm: float) -> Box:
    """A frame with the proportions of the picture."""
    half = (high_cm - low_cm) * PICTURE_WIDTH / PICTURE_HEIGHT / 2
    return Box(middle_cm - half, low_cm, middle_cm + half, high_cm)


# Places of the arm: one arm fills the picture. All other places are shown with both sides.
ARM = ("shoulder", "upper_arm_outer", "upper_arm_inner", "elbow", "forearm", "hand", "fingers")

# Smallest first within a view; middle, lowest and highest point in cm on the figure.
BODY_FRAMES = (
    _frame(44, 78, 116),  # forearm and hand
    _frame(34, 92, 136),  # forearm and elbow
    _frame(24, 106, 150),  # upper arm and elbow
    _frame(0, 129, 158),  # neck and collarbones
    _frame(0, 74, 118),  # belly and groin
    _frame(0, 102, 152),  # chest and armpits
    _frame(0, 84, 134),  # waist
    _frame(0, -1.5, 58),  # lower legs
    _frame(0, 40, 110),  # hips to knees
    _frame(0, 76, 148),  # trunk
    _frame(25, 78, 152),  # one arm
    _frame(0, 78, 171),  # head, trunk and arms
    _frame(0, -2, 112),  # legs
    _frame(0, -2, 171),  # whole figure
)
BODY = ("front", "back")
FRAMES: dict[str, tuple[Box, ...]] = {
    "front": BODY_FRAMES,
    "back": BODY_FRAMES,
    "head_front": (_frame(0, 137.5, 171),),
    "head_back": (_frame(0, 137.5, 171),),
    "head_side": (_frame(3.8, 138, 171),),
    "hand_palm": (_frame(-1.7, -6, 20),),
    "hand_back": (_frame(-1.7, -6, 20),),
    "foot_top": (_frame(0.3, -0.6, 24.2),),
}
BREATHING_FRAME = _frame(0, 82, 146)


def shots_of(motif: Motif) -> tuple[Shot, ...]:
    """The pictures a drawable motif needs: one, or one for each surface its parts lie on."""
    return tuple(_shots(motif))


def _shots(motif: Motif) -> Iterator[Shot]:
    if motif.is_breathing:
        yield Shot("front", BREATHING_FRAME)
        return
    if motif.technique == "sweep":
        yield _shot(_sweep_view(motif), motif)
        return
    looks = [
        (view, tuple(part for part in motif.parts if part in shown))
        for view, shown in BY_PARTS.get(stem(motif.node or ""), ())
    ]
    looks = [(view, parts) for view, parts in looks if parts and _shows(view, motif.one_side())]
    for view, parts in looks or [(_views_showing(motif)[0], motif.parts)]:
        yield _shot(view, motif, parts)


def drawable(motif: Motif) -> Motif:
    """The motif, its path cut where it runs round the body and out of every view.

    A bridge over the low back, say, ends in the groin, which only the front shows: its arrow is
    drawn as far as the flank. Raises LookupError when not even the first place is in a view.
    """
    for length in range(len(motif.path), 0, -1):
        cut = replace(motif, path=motif.path[:length])
        if _views_showing(cut):
            return cut
    if motif.path or (motif.places and not _views_showing(motif)):
        raise LookupError(f"no view shows {motif.places}")
    return motif


def _views_showing(motif: Motif) -> list[str]:
    """The views that show every place, the best first."""
    wanted = dict.fromkeys((*FIRST.get(stem(motif.node or ""), ()), *IN_ORDER))
    return [view for view in wanted if _shows(view, motif)]


def _sweep_view(motif: Motif) -> str:
    return "front" if _shows("front", motif) else "back"


def _shows(view: str, motif: Motif) -> bool:
    return all(_shown(view, node) for node in (*motif.places, *motif.path))


def _shown(view: str, node: str) -> bool:
    shown = outlines()[view]
    return node in shown.regions or landmark_of(node) in shown.spots


@cache
def _region_box(view: str, node: str) -> Box:
    shown = outlines()[view]
    if node in shown.regions:
        return box_of(point for polygon in shown.regions[node] for point in polygon)
    return box_of([shown.spots[landmark_of(node)]])


@cache
def _wanted(view: str, named: tuple[str, ...]) -> Box:
    """The box round all places that the view shows."""
    boxes = [_region_box(view, node) for node in named if _shown(view, node)]
    return box_of((x, y) for box in boxes for x, y in (box[:2], box[2:]))


def _shot(view: str, motif: Motif, parts: tuple[str, ...] = ()) -> Shot:
    wanted = _wanted(view, (*motif.places, *motif.path))
    is_arm = stem(motif.node or "") in ARM
    fitting = [
        frame
        for frame in FRAMES[view]
        if frame.holds(wanted) and (is_arm or view not in BODY or frame.left == -frame.right)
    ]
    return Shot(view, fitting[0] if fitting else FRAMES[view][-1], parts)
