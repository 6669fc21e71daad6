"""Two hands resting on the belly: the one picture that shows the client's own arms at work.

Schematic, set by eye on the figure; cm.
"""

from functools import cache

from programmes.drawing.geometry import Line, Point, arc, mirrored, placed, sleeve
from programmes.drawing.outlines import outlines

BELLY: Point = (0.0, 103.0)
BELLY_RADII_CM = (10.5, 8.5)
SHOULDER: Point = (16.3, 136.0)
ELBOW: Point = (27.5, 112.0)
WRIST: Point = (17.6, 103.5)
HAND_TURN_DEG = 84.0
HAND_SIZE = 0.9


def belly() -> Line:
    """The shaded part of the belly."""
    circle = arc((0.0, 0.0), 1.0, start_deg=0, sweep_deg=350)
    (x, y), (wide, high) = BELLY, BELLY_RADII_CM
    return tuple((x + wide * cx, y + high * cy) for cx, cy in circle)


@cache
def torso() -> Line:
    """The figure without its arms: the arm is cut from the shoulder to the armpit."""
    front = outlines()["front"]
    half = [point for point in front.outline[: len(front.outline) // 2 + 1]]
    shoulder = next(i for i, (x, y) in enumerate(half) if x > SHOULDER[0] - 2 and y < 145)
    armpit = _armpit(half)
    kept = (*half[:shoulder], *half[armpit:])
    return (*kept, *reversed(mirrored(kept[1:-1])))


def _armpit(half: list[Point]) -> int:
    """The highest point of the outline after the finger tips and before the hip."""
    tip = min(range(len(half)), key=lambda i: (half[i][0] < 40, half[i][1]))
    later = [i for i in range(tip, len(half)) if half[i][1] > 100]
    return max(later, key=lambda i: half[i][1])


@cache
def body() -> tuple[Line, ...]:
    """Torso and bent arms up to the wrists; painted together they make one outline."""
    upper = sleeve(SHOULDER, ELBOW, start_width=9.4, end_width=7.4)
    fore = sleeve(ELBOW, WRIST, start_width=7.4, end_width=5.0)
    # The mirror of a shape runs the other way round; turned back, so that overlaps stay filled.
    others = (mirrored(line)[::-1] for line in (upper, fore))
    return (torso()[::-1], upper, fore, *others)


@cache
def hands() -> tuple[Line, ...]:
    """Both hands, open at the wrist, so no line is drawn across it."""
    whole = outlines()["hand_back"].outline
    wrist = [i for i, (_, y) in enumerate(whole) if y < 0]
    first = next(i for i in wrist if (i + 1) % len(whole) not in wrist)
    open_line = [whole[(first + step) % len(whole)] for step in range(len(whole))]
    kept = [point for point in open_line if point[1] > -2.0]
    hand = placed(kept, at=WRIST, turn_deg=HAND_TURN_DEG, size=HAND_SIZE)
    return (hand, mirrored(hand))
