"""Two hands resting on the belly: the one picture that shows the client's own arms at work.

Schematic, set by eye on the figure; cm.
"""

from functools import cache

from programmes.drawing.geometry import Line, Point, arc, mirrored, placed, sleeve
from programmes.drawing.outlines import outlines

BELLY: Point = (0.0, 103.0)
BELLY_RADII_CM = (10.5, 8.5)
SHOULDER: Point = (18.0, 134.5)
ELBOW: Point = (24.5, 110.5)
WRIST: Point = (14.5, 100.5)
HAND_TURN_DEG = 76.0
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
def arms() -> tuple[Line, ...]:
    """Both arms bent, hands on the belly: upper arms, forearms, hands, in drawing order."""
    upper = sleeve(SHOULDER, ELBOW, start_width=9.0, end_width=7.6)
    fore = sleeve(ELBOW, WRIST, start_width=7.6, end_width=5.4)
    back_of_hand = outlines()["hand_back"].outline
    hand = placed(back_of_hand, at=WRIST, turn_deg=HAND_TURN_DEG, size=HAND_SIZE)
    return tuple(line for part in (upper, fore, hand) for line in (part, mirrored(part)))
