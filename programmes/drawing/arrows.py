"""Where the arrows of a picture run, in cm on the figure. Always told for the left.

A stroke goes from the place worked on to the place the fluid is eased to, a little curved, inside
the body. On the spot a round arrow is drawn instead.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from programmes.drawing.geometry import Line, Point, arc, bowed, box_of, smooth
from programmes.drawing.motif import Motif, stem, turned_id
from programmes.drawing.outlines import Outline, landmark_of
from programmes.drawing.views import Shot

FINGERS = ("thumb", "index", "middle", "ring", "little")
TOES = ("1", "2", "3", "4", "5")
# Offsets of the middle of an arrow, as a share of its length; the first that stays inside wins.
BOWS = (0.1, -0.1, 0.05, -0.05, 0.0)
# A round arrow begins at the right and goes up and inward, as armpit and groin are worked.
ROUND_START_DEG = -60.0
ROUND_SWEEP_DEG = 290.0
# Page units; the ring runs round the shaded place when that is small enough.
ROUND_RADIUS_UNITS = (12.0, 17.0)

BEHIND_EAR: Point = (1.4, 153.2)
# Where an arrow begins, passes or ends when the middle of the region is not the best place.
SPOTS: dict[tuple[str, str, str], Point] = {
    ("front", "chest", ""): (8.5, 134.8),
    ("front", "chest", "above"): (6.5, 134.8),
    ("front", "chest", "below"): (6.5, 115.0),
    ("front", "chest", "over above"): (9.0, 135.8),
    ("front", "chest", "over below"): (13.2, 120.0),
    ("front", "chest_mid", "over above"): (0.0, 136.0),
    ("front", "chest_mid", "over below"): (0.0, 121.6),
    ("front", "chest_mid", "above"): (0.0, 135.0),
    ("front", "chest_mid", "below"): (0.0, 122.0),
    ("back", "upper_back", ""): (8.0, 127.5),
    ("back", "upper_back_mid", ""): (0.0, 128.0),
    ("back", "lower_back", ""): (6.5, 99.5),
    ("back", "lower_back_mid", ""): (0.0, 99.5),
    ("front", "abdomen", ""): (5.8, 97.0),
    ("front", "abdomen_mid", ""): (0.0, 97.5),
    ("front", "flank_upper", ""): (12.4, 117.0),
    ("front", "flank_lower", ""): (12.3, 99.0),
    ("head_side", "neck_side", ""): (-0.1, 146.6),
    ("head_side", "cervical", "behind_ear"): BEHIND_EAR,
}
# Sweeps run beside the middle of the limb, toward the inside by so many cm (x, y on the left).
OFFSET: dict[tuple[str, ...], Point] = {
    ("fingers", "hand", "forearm", "elbow"): (-1.2, -0.9),
    ("toes", "foot", "ankle", "lower_leg", "knee"): (-2.2, 0.0),
}
SHIFTED = ("hand", "forearm", "elbow", "ankle", "lower_leg", "knee")


@dataclass(frozen=True)
class Way:
    """The middle line of an arrow, in cm. `is_thin` arrows lie beside others of their kind."""

    line: Line
    is_thin: bool = False
    is_round: bool = False


def ways_of(motif: Motif, shot: Shot) -> tuple[Way, ...]:
    """The arrows of a picture. Empty for breathing."""
    if motif.is_breathing or not motif.node:
        return ()
    if motif.target is None:
        return tuple(_rounds(motif, shot))
    if motif.technique == "finger_passes" and shot.view != "front":
        return tuple(_along_digits(motif.node, shot.outline))
    return tuple(_strokes(motif, shot))


def _rounds(motif: Motif, shot: Shot) -> Iterator[Way]:
    for node in motif.places if shot.outline.is_whole else motif.places[:1]:
        radius_cm = _radius_cm(node, shot)
        for spot in _spots_on_the_spot(node, shot):
            line = arc(spot, radius_cm, start_deg=ROUND_START_DEG, sweep_deg=ROUND_SWEEP_DEG)
            if node.endswith("_R"):
                line = tuple((2 * spot[0] - x, y) for x, y in line)
            yield Way(line, is_round=True)


def _radius_cm(node: str, shot: Shot) -> float:
    """Round the place if the ring stays small, else a small ring in its middle."""
    smallest, largest = (units / shot.scale for units in ROUND_RADIUS_UNITS)
    if node not in shot.outline.regions or "behind_ear" in shot.parts:
        return largest
    box = box_of(point for line in shot.outline.regions[node] for point in line)
    around = max(box.right - box.left, box.high - box.low) * 0.6
    return largest if around <= 1.3 * largest else smallest


def _spots_on_the_spot(node: str, shot: Shot) -> list[Point]:
    spots = [spot_of(node, shot.outline, part) for part in shot.parts]
    return list(dict.fromkeys(spots)) or [spot_of(node, shot.outline)]


def spot_of(node: str, outline: Outline, part: str = "") -> Point:
    """The point that stands for a place: a chosen one, its anchor or its landmark."""
    for key in ((outline.name, stem(node), part), (outline.name, stem(node), "")):
        if key in SPOTS:
            x, y = SPOTS[key]
            return (-x, y) if node.endswith("_R") else (x, y)
    return outline.spots.get(node) or outline.spots[landmark_of(node)]


def _along_digits(node: str, outline: Outline) -> Iterator[Way]:
    """From each tip over the root of the digit a little way on."""
    names = (
        [(f"at_finger_tip_{name}_L", f"at_knuckle_{name}_L") for name in FINGERS]
        if stem(node) == "fingers"
        else [(f"at_toe_{name}_L", f"at_toe_root_{name}_L") for name in TOES]
    )
    for tip, root in names:
        (x1, y1), (x2, y2) = outline.spots[tip], outline.spots[root]
        # In the digit by a tenth of its length, and a quarter past its root into the next place.
        start = (x1 + 0.1 * (x2 - x1), y1 + 0.1 * (y2 - y1))
        end = (x1 + 1.25 * (x2 - x1), y1 + 1.25 * (y2 - y1))
        yield Way((start, end), is_thin=True)


def _strokes(motif: Motif, shot: Shot) -> Iterator[Way]:
    if motif.technique == "sweep":
        yield Way(_stroke(_sweep_points(motif, shot.outline), shot))
        return
    for part in _separate_parts(motif, shot):
        yield Way(_stroke(_points(motif.path, shot.outline, part), shot))
        if motif.also:
            other = tuple(map(turned_id, motif.path))
            yield Way(_stroke(_points(other, shot.outline, part), shot))


def _points(path: tuple[str, ...], outline: Outline, part: str) -> list[Point]:
    first, *passed, last = path
    return [
        spot_of(first, outline, part),
        *(spot_of(node, outline, f"over {part}") for node in passed),
        spot_of(last, outline, part),
    ]


def _sweep_points(motif: Motif, outline: Outline) -> list[Point]:
    """Up the inside or the outside of the limb, as the path tells, then to the trunk."""
    is_inside = any("_inner_" in node for node in motif.path)
    dropped = "_outer_" if is_inside else "_inner_"
    x, y = next((off for limb, off in OFFSET.items() if stem(motif.path[0]) in limb), (0.0, 0.0))
    sign = (1 if is_inside else -1) * (-1 if motif.path[0].endswith("_R") else 1)
    points = []
    for node in motif.path:
        spot = spot_of(node, outline)
        if stem(node) in SHIFTED:
            spot = (spot[0] + sign * x, spot[1] + abs(sign) * y * (1 if is_inside else -1))
        if dropped not in node:
            points.append(spot)
    return points


def _separate_parts(motif: Motif, shot: Shot) -> Sequence[str]:
    """Parts with a spot of their own get an arrow each; all others share one."""
    own = [part for part in shot.parts if (shot.view, stem(motif.node or ""), part) in SPOTS]
    return own or ("",)


def _stroke(points: list[Point], shot: Shot) -> Line:
    """A curve through the points that stays in the body where it can."""
    if len(points) > 2:
        curve = smooth(points)
        return curve if shot.outline.holds(curve) else _straight(points)
    start, end = points
    tries = [bowed(start, end, bow=bow) for bow in _bows(start, end)]
    return next((line for line in tries if shot.outline.holds(line)), tries[-1])


def _bows(start: Point, end: Point) -> tuple[float, ...]:
    """Upward first for an arrow that runs mostly sideways, outward first for the others.

    Straight along the midline, so neither side is preferred.
    """
    (x1, y1), (x2, y2) = start, end
    if x1 == x2 == 0:
        return (0.0,)
    upward = x2 - x1 if abs(x2 - x1) > abs(y2 - y1) else -(y2 - y1) * (x1 + x2)
    return BOWS if upward > 0 else tuple(-bow for bow in BOWS)


def _straight(points: list[Point], pieces: int = 6) -> Line:
    line = [points[0]]
    for (x1, y1), (x2, y2) in pairwise(points):
        shares = [step / pieces for step in range(1, pieces + 1)]
        line.extend((x1 + share * (x2 - x1), y1 + share * (y2 - y1)) for share in shares)
    return tuple(line)
