"""Plane geometry on lists of points. Points are (x, y); a line is a tuple of points."""

from collections.abc import Iterable, Sequence
from itertools import pairwise
from math import atan2, cos, hypot, pi, sin
from typing import NamedTuple

Point = tuple[float, float]
Line = tuple[Point, ...]
Edge = tuple[Point, Point]


class Box(NamedTuple):
    """An upright rectangle."""

    left: float
    low: float
    right: float
    high: float

    def widened(self, by: float) -> "Box":
        return Box(self.left - by, self.low - by, self.right + by, self.high + by)

    def meets(self, other: "Box") -> bool:
        """True if the two have a point in common."""
        return (
            self.left <= other.right
            and other.left <= self.right
            and self.low <= other.high
            and other.low <= self.high
        )

    def holds(self, other: "Box") -> bool:
        return (
            self.left <= other.left
            and self.low <= other.low
            and self.right >= other.right
            and self.high >= other.high
        )


def box_of(points: Iterable[Point]) -> Box:
    """The smallest upright rectangle round the points. Raises ValueError on none."""
    xs, ys = zip(*points, strict=True)
    return Box(min(xs), min(ys), max(xs), max(ys))


def mirrored(line: Iterable[Point]) -> Line:
    """The line with x turned to -x."""
    return tuple((-x, y) for x, y in line)


def edges_of(polygon: Line) -> Iterable[Edge]:
    return pairwise((*polygon, polygon[0]))


def inside(point: Point, edges: Iterable[Edge]) -> bool:
    """True if the point lies in the polygon of these edges, by the even-odd rule."""
    x, y = point
    crossings = 0
    for (x1, y1), (x2, y2) in edges:
        if (y1 > y) != (y2 > y) and x < x1 + (y - y1) * (x2 - x1) / (y2 - y1):
            crossings += 1
    return crossings % 2 == 1


def all_inside(line: Line, edges: Iterable[Edge]) -> bool:
    """True if every point of the line lies in the polygon; edges above or below are skipped."""
    low, high = min(y for _, y in line), max(y for _, y in line)
    near = [edge for edge in edges if not (edge[0][1] > high < edge[1][1])]
    near = [edge for edge in near if not (edge[0][1] < low > edge[1][1])]
    return all(inside(point, near) for point in line)


def clipped(polygon: Line, box: Box) -> Line:
    """The part of a polygon inside the box (Sutherland and Hodgman 1974). May be empty."""
    for axis, limit, sign in (
        (0, box.left, 1),
        (0, box.right, -1),
        (1, box.low, 1),
        (1, box.high, -1),
    ):
        polygon = tuple(_kept(polygon, axis, limit, sign))
        if not polygon:
            break
    return polygon


def _kept(polygon: Line, axis: int, limit: float, sign: int) -> Iterable[Point]:
    """The side of the polygon on which sign * (coordinate - limit) is not below 0."""
    for start, end in edges_of(polygon):
        depth_1, depth_2 = sign * (start[axis] - limit), sign * (end[axis] - limit)
        if depth_1 >= 0:
            yield start
        if (depth_1 >= 0) != (depth_2 >= 0):
            share = depth_1 / (depth_1 - depth_2)
            yield tuple(a + share * (b - a) for a, b in zip(start, end, strict=True))  # type: ignore[misc]


def simplified(line: Line, tolerance: float) -> Line:
    """The line with fewer points, none of those dropped farther off than the tolerance.

    Source: Douglas and Peucker, Cartographica 1973;10:112-122.
    """
    if len(line) < 3:
        return line
    far, distance = max(
        ((index, _distance(line[index], line[0], line[-1])) for index in range(1, len(line) - 1)),
        key=lambda found: found[1],
    )
    if distance <= tolerance:
        return (line[0], line[-1])
    return (*simplified(line[: far + 1], tolerance)[:-1], *simplified(line[far:], tolerance))


def _distance(point: Point, start: Point, end: Point) -> float:
    """From a point to the piece of line from start to end."""
    (x, y), (x1, y1), (x2, y2) = point, start, end
    dx, dy = x2 - x1, y2 - y1
    length = dx * dx + dy * dy
    share = max(0.0, min(1.0, ((x - x1) * dx + (y - y1) * dy) / length)) if length else 0.0
    return hypot(x - x1 - share * dx, y - y1 - share * dy)


def hatched(polygons: Sequence[Line], *, gap: float) -> tuple[Line, ...]:
    """Slanted strokes (45 degrees, `gap` apart) that fill the polygons, clipped to each."""
    return tuple(stroke for polygon in polygons for stroke in _strokes(polygon, gap))


def _strokes(polygon: Line, gap: float) -> Iterable[Line]:
    """Strokes along x - y = constant; where they cross the border is found edge by edge."""
    step = gap * 2**0.5
    crossings: dict[int, list[float]] = {}
    for (x1, y1), (x2, y2) in edges_of(polygon):
        c1, c2 = (x1 - y1) / step, (x2 - y2) / step
        for rung in range(int(min(c1, c2) // 1) + 1, int(max(c1, c2) // 1) + 1):
            share = (rung - c1) / (c2 - c1)
            crossings.setdefault(rung, []).append(x1 + share * (x2 - x1))
    for rung, found in sorted(crossings.items()):
        found.sort()
        for start, end in zip(found[::2], found[1::2], strict=False):
            yield ((start, start - rung * step), (end, end - rung * step))


def bowed(start: Point, end: Point, *, bow: float, pieces: int = 12) -> Line:
    """A curve from start to end; its middle is set off by `bow` times the distance.

    A positive bow lies to the left of the way, seen with y upward.
    """
    (x1, y1), (x2, y2) = start, end
    bend_x = (x1 + x2) / 2 - 2 * bow * (y2 - y1)
    bend_y = (y1 + y2) / 2 + 2 * bow * (x2 - x1)
    points = []
    for piece in range(pieces + 1):
        t = piece / pieces
        a, b, c = (1 - t) ** 2, 2 * t * (1 - t), t * t
        points.append((a * x1 + b * bend_x + c * x2, a * y1 + b * bend_y + c * y2))
    return tuple(points)


def smooth(points: Sequence[Point], *, pieces: int = 6) -> Line:
    """A curve through all points (uniform Catmull-Rom, the ends doubled)."""
    padded = (points[0], *points, points[-1])
    curve = [points[0]]
    for p0, p1, p2, p3 in zip(padded, padded[1:], padded[2:], padded[3:], strict=False):
        for piece in range(1, pieces + 1):
            t = piece / pieces
            curve.append(tuple(_spline(*axis, t) for axis in zip(p0, p1, p2, p3, strict=True)))  # type: ignore[arg-type]
    return tuple(curve)


def _spline(p0: float, p1: float, p2: float, p3: float, t: float) -> float:
    return 0.5 * (
        2 * p1
        + (p2 - p0) * t
        + (2 * p0 - 5 * p1 + 4 * p2 - p3) * t * t
        + (3 * p1 - p0 - 3 * p2 + p3) * t**3
    )


def arc(centre: Point, radius: float, *, start_deg: float, sweep_deg: float) -> Line:
    """Points along a circle, counted anticlockwise from the x axis with y upward."""
    steps = 24
    angles = (start_deg + sweep_deg * step / steps for step in range(steps + 1))
    return tuple(
        (centre[0] + radius * cos(angle * pi / 180), centre[1] + radius * sin(angle * pi / 180))
        for angle in angles
    )


def placed(line: Iterable[Point], *, at: Point, turn_deg: float, size: float = 1.0) -> Line:
    """The line turned anticlockwise about the origin (y upward), scaled, then moved to `at`."""
    c, s = size * cos(turn_deg * pi / 180), size * sin(turn_deg * pi / 180)
    return tuple((at[0] + c * x - s * y, at[1] + s * x + c * y) for x, y in line)


def sleeve(start: Point, end: Point, *, start_width: float, end_width: float) -> Line:
    """A closed shape round a bone: round at both ends, tapering between."""
    towards_deg = atan2(end[1] - start[1], end[0] - start[0]) * 180 / pi
    return (
        *arc(start, start_width / 2, start_deg=towards_deg + 90, sweep_deg=180),
        *arc(end, end_width / 2, start_deg=towards_deg - 90, sweep_deg=180),
    )


def shortened(line: Line, length: float) -> tuple[Line, Point]:
    """The line cut by `length` at its end, and the point where it was cut."""
    left = length
    for index in range(len(line) - 1, 0, -1):
        (x1, y1), (x2, y2) = line[index - 1], line[index]
        piece = hypot(x2 - x1, y2 - y1)
        if piece > left:
            share = 1 - left / piece
            cut = (x1 + share * (x2 - x1), y1 + share * (y2 - y1))
            return (*line[:index], cut), cut
        left -= piece
    return line[:1], line[0]
