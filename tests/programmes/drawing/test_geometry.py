"""The plane geometry, held against shapely 2 (GEOS)."""

from math import hypot

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Point as GeosPoint
from shapely.geometry import LineString, Polygon, box

from programmes.drawing.geometry import (
    Box,
    all_inside,
    arc,
    bowed,
    clipped,
    edges_of,
    hatched,
    inside,
    placed,
    shortened,
    simplified,
    smooth,
)
from programmes.drawing.outlines import outlines

BODY = outlines()["front"].outline
FIGURE = Polygon(BODY)
coordinate = st.floats(-70, 180, allow_nan=False).map(lambda number: round(number, 3))


@given(coordinate, coordinate)
def test_inside_agrees_with_geos(x: float, y: float) -> None:
    body = FIGURE
    if body.exterior.distance(GeosPoint(x, y)) > 1e-9:
        assert inside((x, y), edges_of(BODY)) == body.contains(GeosPoint(x, y))


@given(st.lists(st.tuples(coordinate, coordinate), min_size=1, max_size=5))
def test_all_inside_is_inside_of_each_point(line: list[tuple[float, float]]) -> None:
    edges = list(edges_of(BODY))
    assert all_inside(tuple(line), edges) == all(inside(point, edges) for point in line)


@given(coordinate, coordinate, st.floats(1, 80), st.floats(1, 80))
def test_clipping_keeps_the_area_that_geos_keeps(
    left: float, low: float, width: float, height: float
) -> None:
    frame = Box(left, low, left + width, low + height)
    kept = clipped(BODY, frame)
    area = Polygon(kept).area if len(kept) > 2 else 0.0
    assert area == pytest.approx(FIGURE.intersection(box(*frame)).area, abs=1e-6)


def test_the_hatch_lies_in_the_shape_and_every_gap_is_narrow() -> None:
    strokes = [LineString(line) for line in hatched([BODY], gap=4.0)]
    body = Polygon(BODY)
    assert all(body.buffer(1e-6).covers(stroke) for stroke in strokes)
    # Strokes `gap` apart cover the shape when each is widened to both sides by half of it.
    assert sum(stroke.length for stroke in strokes) * 4.0 == pytest.approx(body.area, rel=0.03)


@pytest.mark.parametrize("tolerance", [0.1, 0.5, 2.0])
def test_a_simplified_line_stays_within_its_tolerance(tolerance: float) -> None:
    fewer = simplified(BODY, tolerance)
    assert LineString(BODY).hausdorff_distance(LineString(fewer)) <= tolerance + 1e-9
    assert len(fewer) < len(BODY)
    geos = LineString(BODY).simplify(tolerance, preserve_topology=False)
    assert len(fewer) == pytest.approx(len(geos.coords), abs=3)


def test_a_bowed_line_leaves_the_straight_by_its_bow() -> None:
    line = bowed((0.0, 0.0), (10.0, 0.0), bow=0.1)
    assert line[0] == (0.0, 0.0)
    assert line[-1] == (10.0, 0.0)
    assert max(y for _, y in line) == pytest.approx(1.0)


def test_a_smooth_line_passes_all_its_points() -> None:
    points = ((0.0, 0.0), (3.0, 4.0), (8.0, 1.0), (9.0, -5.0))
    curve = LineString(smooth(points))
    assert all(curve.distance(GeosPoint(point)) < 1e-9 for point in points)


def test_a_shortened_line_loses_the_length_asked_for() -> None:
    line = ((0.0, 0.0), (3.0, 4.0), (3.0, 10.0))
    rest, cut = shortened(line, 8.0)
    assert LineString(rest).length == pytest.approx(LineString(line).length - 8.0)
    assert rest[-1] == cut


def test_an_arc_keeps_its_distance_and_turns_with_the_shape() -> None:
    for x, y in arc((1.0, 2.0), 3.0, start_deg=0, sweep_deg=90):
        assert hypot(x - 1.0, y - 2.0) == pytest.approx(3.0)
    ((x, y),) = placed([(1.0, 0.0)], at=(5.0, 5.0), turn_deg=90, size=2.0)
    assert (x, y) == (pytest.approx(5.0), pytest.approx(7.0))
