"""Every place and every edge of the map has a clear drawing on the correct side.

Outside checks: shapely 2 for points, areas and distances; the page formula of the outlines' own
notes (body outlines, CC0) for which side is where on the page.
"""

from itertools import product

import pytest
from shapely import Point, unary_union
from shapely.geometry import LineString, Polygon

from programmes.body.territory import territory_map
from programmes.drawing.motif import Motif, turned_id
from programmes.drawing.outlines import outlines
from programmes.drawing.picture import Drawing, Shape, drawings_of

MAP = territory_map()
NAMES = {place.id: place.plain for place in MAP.places.values()}
EDGES = sorted(MAP.edges)
NODES = sorted(MAP.places)
# Half a page unit is about a tenth of a millimetre in print.
NEAR = 0.5


def stroke(start: str, end: str) -> Motif:
    technique = "finger_passes" if start.startswith(("fingers", "toes")) else "circles"
    return Motif(technique, start, path=(start, end))


def area(shape: Shape) -> object:
    return unary_union([Polygon(line).buffer(0) for line in shape.lines if len(line) > 2])


def points_of(drawing: Drawing) -> list[tuple[float, float]]:
    shapes = [drawing.body, drawing.shaded, drawing.hatch, drawing.target, drawing.lines]
    shapes += [drawing.hands, drawing.locator_body, drawing.locator_spot]
    shapes += [part for arrow in drawing.arrows for part in (arrow.shaft, arrow.head)]
    return [point for shape in shapes for line in shape.lines for point in line]


@pytest.mark.parametrize("node", NODES)
def test_every_place_of_the_map_has_a_drawing(node: str) -> None:
    for drawing in drawings_of(Motif("circles", node), NAMES):
        assert drawing.shaded.lines
        assert drawing.hatch.lines
        assert len(drawing.arrows) == 1
        assert NAMES[node].lower() in drawing.title.lower()


@pytest.mark.parametrize(("start", "end"), EDGES)
def test_every_edge_has_an_arrow_from_its_place_into_its_target(start: str, end: str) -> None:
    (drawing,) = drawings_of(stroke(start, end), NAMES)
    for arrow in drawing.arrows:
        assert area(drawing.shaded).distance(Point(arrow.shaft.lines[0][0])) < NEAR
        assert area(drawing.target).distance(Point(arrow.head.lines[0][0])) < NEAR


@pytest.mark.parametrize(("start", "end"), EDGES)
def test_every_arrow_stays_in_the_body(start: str, end: str) -> None:
    (drawing,) = drawings_of(stroke(start, end), NAMES)
    body = area(drawing.body).buffer(NEAR)
    assert all(body.covers(LineString(arrow.shaft.lines[0])) for arrow in drawing.arrows)


@pytest.mark.parametrize(("start", "end"), EDGES)
def test_shade_and_arrow_lie_in_the_body_and_in_the_picture(start: str, end: str) -> None:
    (drawing,) = drawings_of(stroke(start, end), NAMES)
    shaded, body = area(drawing.shaded), area(drawing.body)
    # Regions overlap the outline by less than 0.04 %, says their note; points were dropped since.
    assert shaded.difference(body).area < 0.02 * shaded.area
    for shape in (drawing.shaded, drawing.target, *(arrow.head for arrow in drawing.arrows)):
        for x, y in (point for line in shape.lines for point in line):
            assert -NEAR <= x <= drawing.width + NEAR
            assert -NEAR <= y <= drawing.picture_height + NEAR


SIDED = [ends for ends in EDGES if any(turned_id(end) != end for end in ends)]


@pytest.mark.parametrize(("start", "end"), SIDED)
def test_the_other_side_is_the_mirror_image(start: str, end: str) -> None:
    drawings = drawings_of(stroke(start, end), NAMES)
    others = drawings_of(stroke(turned_id(start), turned_id(end)), NAMES)
    for drawing, other in zip(drawings, others, strict=True):
        for (x, y), (other_x, other_y) in zip(points_of(drawing), points_of(other), strict=True):
            assert other_x == pytest.approx(drawing.width - x, abs=1e-6)
            assert other_y == pytest.approx(y, abs=1e-6)


def test_an_arrow_along_the_midline_is_straight() -> None:
    (drawing,) = drawings_of(stroke("genital", "abdomen_mid"), NAMES)
    assert {round(x, 9) for x, _ in drawing.arrows[0].shaft.lines[0]} == {drawing.width / 2}


@pytest.mark.parametrize(
    ("node", "side"), list(product(("axilla", "groin", "lower_back", "hip", "cheek"), ("L", "R")))
)
def test_a_shade_is_where_the_page_formula_puts_its_own_side(node: str, side: str) -> None:
    for drawing in drawings_of(Motif("circles", f"{node}_{side}"), NAMES):
        x_signs = {"front": 1, "head_front": 1, "back": -1}  # from the notes of the outlines
        sign = x_signs.get(drawing.view) or {"L": -1, "R": 1}[side]
        on_left_of_body = 1 if side == "L" else -1
        if drawing.view != "head_side":
            centre_x = area(drawing.shaded).centroid.x
            assert (centre_x - drawing.width / 2) * sign * on_left_of_body > 0
        else:
            # Seen from the left the face looks to the left of the page.
            assert (area(drawing.shaded).centroid.x - drawing.width / 2) * sign > 0


@pytest.mark.parametrize("node", ["axilla", "groin", "chest", "upper_back", "buttock", "brow"])
@pytest.mark.parametrize("side", ["L", "R"])
def test_the_label_nearer_to_the_shade_names_its_side(node: str, side: str) -> None:
    (drawing,) = drawings_of(Motif("circles", f"{node}_{side}"), NAMES)
    centre_x = area(drawing.shaded).centroid.x
    sides = [label for label in drawing.labels if label.text.startswith("your")]
    nearest = min(sides, key=lambda label: abs(label.x - centre_x))
    assert nearest.text == {"L": "your left", "R": "your right"}[side]


@pytest.mark.parametrize("node", ["hand", "forearm", "toes", "fingers", "cheek"])
def test_one_limb_alone_is_named_with_its_side(node: str) -> None:
    for side, word in (("L", "left"), ("R", "right")):
        (label,) = drawings_of(Motif("circles", f"{node}_{side}"), NAMES)[0].labels
        assert word in label.text


# By hand: where a client sees the place and the way best.
VIEWS = [
    (Motif("belly_breathing", "deep_abdomen"), ["front"]),
    (Motif("easy_breathing", None), ["front"]),
    (Motif("circles", "supraclav_L", also=("supraclav_R",)), ["front"]),
    (
        Motif("circles", "cervical_L", also=("cervical_R",), parts=("side", "behind_ear")),
        ["front", "head_side"],
    ),
    (Motif("bridging", "chest_R", path=("chest_R", "chest_mid", "chest_L", "axilla_L")), ["front"]),
    (Motif("bridging", "upper_back_R", path=("upper_back_R", "upper_back_mid")), ["back"]),
    (Motif("circles", "forearm_L", path=("forearm_L", "elbow_L"), parts=("back",)), ["back"]),
    (
        Motif("circles", "elbow_L", path=("elbow_L", "upper_arm_outer_L"), parts=("front", "back")),
        ["front", "back"],
    ),
    (Motif("circles", "hand_R", path=("hand_R", "forearm_R"), parts=("wrist",)), ["hand_back"]),
    (
        Motif("finger_passes", "fingers_R", path=("fingers_R", "hand_R"), parts=("front", "sides")),
        ["hand_palm", "hand_back"],
    ),
    (Motif("circles", "foot_L", path=("foot_L", "ankle_L")), ["foot_top"]),
    (Motif("circles", "thigh_back_L", path=("thigh_back_L", "thigh_outer_L")), ["back"]),
    (Motif("circles", "scalp_back_L", path=("scalp_back_L", "neck_back_L")), ["head_back"]),
    (Motif("circles", "brow_R", path=("brow_R", "cheek_R")), ["head_front"]),
    (Motif("circles", "cheek_R", path=("cheek_R", "neck_back_R")), ["head_side"]),
]


@pytest.mark.parametrize(("motif", "views"), VIEWS)
def test_the_view_is_the_one_that_shows_place_and_way(motif: Motif, views: list[str]) -> None:
    assert [drawing.view for drawing in drawings_of(motif, NAMES)] == views


def test_a_bridge_round_the_body_is_drawn_as_far_as_its_view_goes() -> None:
    path = ("lower_back_L", "lower_back_mid", "lower_back_R", "flank_lower_R", "groin_R")
    (drawing,) = drawings_of(Motif("bridging", "lower_back_L", path=path), NAMES)
    (flank,) = outlines()["back"].regions["flank_lower_R"]
    xs = [x for line in drawing.target.lines for x, _ in line]
    assert drawing.view == "back"
    assert min(xs) > drawing.width / 2
    assert len(drawing.target.lines[0]) <= len(flank)
    assert "right groin" in drawing.description


def test_above_and_below_the_breast_have_an_arrow_each() -> None:
    motif = Motif("bridging", "chest_L", path=("chest_L", "axilla_L"), parts=("above", "below"))
    (drawing,) = drawings_of(motif, NAMES)
    (_, above_y), (_, below_y) = (arrow.shaft.lines[0][0] for arrow in drawing.arrows)
    breast = outlines()["front"].spots["at_breast_centre_L"]
    assert len(drawing.arrows) == 2
    assert above_y < below_y
    assert breast[1] == pytest.approx(124.7)


def test_each_finger_and_each_toe_has_an_arrow() -> None:
    for start, end in (("fingers_L", "hand_L"), ("toes_R", "foot_R")):
        (drawing,) = drawings_of(stroke(start, end), NAMES)
        digits = [Polygon(line) for line in drawing.shaded.lines]
        for arrow in drawing.arrows:
            assert sum(digit.contains(Point(arrow.shaft.lines[0][0])) for digit in digits) == 1
        assert len(drawing.arrows) == len(digits) == 5


def test_a_sweep_shades_the_whole_limb_and_its_two_ways_differ() -> None:
    limb = ("fingers_R", "hand_R", "forearm_R", "elbow_R")
    inner = (*limb, "upper_arm_inner_R", "upper_arm_outer_R", "shoulder_R", "chest_R")
    outer = (*limb, "upper_arm_outer_R", "shoulder_R", "chest_R")
    (inside,) = drawings_of(Motif("sweep", "fingers_R", path=inner), NAMES)
    (outside,) = drawings_of(Motif("sweep", "fingers_R", path=outer), NAMES)
    ways = [LineString(drawing.arrows[0].shaft.lines[0]) for drawing in (inside, outside)]
    assert ways[0].hausdorff_distance(ways[1]) > 4
    assert area(inside.shaded).covers(area(outside.shaded).buffer(-1))
    # The inside of a right arm seen from the front lies nearer to the trunk: right on the page.
    middle = [way.interpolate(0.5, normalized=True).x for way in ways]
    assert middle[0] > middle[1]


def test_breathing_rests_two_hands_on_the_belly_and_needs_no_arrow() -> None:
    (drawing,) = drawings_of(Motif("belly_breathing", "deep_abdomen"), NAMES)
    hands = [Polygon(line).buffer(0) for line in drawing.hands.lines]
    assert len(hands) == 2
    assert all(hand.intersects(area(drawing.shaded)) for hand in hands)
    assert not drawing.arrows


def test_easy_breathing_touches_nothing() -> None:
    (drawing,) = drawings_of(Motif("easy_breathing", None), NAMES)
    assert not drawing.shaded.lines
    assert not drawing.hands.lines
    assert not drawing.arrows


def test_an_unknown_place_is_refused() -> None:
    with pytest.raises(LookupError):
        drawings_of(Motif("circles", "wing_L"), NAMES)
