"""Geometry of a trend small enough for a line of a table. Plain Python, no Django."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from measurements.limb.error import mdc95

WIDTH, HEIGHT, EDGE = 96.0, 28.0, 3.0
# The strip is at least this many smallest real changes tall, so that tape error looks flat.
LEAST_CHANGES_TALL = 2.0


@dataclass(frozen=True)
class Sparkline:
    """A line in a box of `width` x `height`, and what it says in words: first, lowest, last.

    Each of those is (day, mL). `zero_y` is where 0 mL lies, None outside the strip.
    """

    width: float
    height: float
    line: str
    last_x: float
    last_y: float
    zero_y: float | None
    first: tuple[date, float]
    lowest: tuple[date, float]
    last: tuple[date, float]
    is_single: bool


def sparkline(points: Sequence[tuple[date, float]], error_ml: float | None) -> Sparkline | None:
    """The drawing of (day, mL) points, oldest first; None without one.

    `error_ml` is the standard error of one of them, mL.
    """
    if not points:
        return None
    values = [ml for _, ml in points]
    low, high = _bounds(values, error_ml or 0.0)
    places = [(_x(on, points), _y(ml, low, high)) for on, ml in points]
    return Sparkline(
        width=WIDTH,
        height=HEIGHT,
        line=" ".join(f"{x:.1f},{y:.1f}" for x, y in places),
        last_x=places[-1][0],
        last_y=places[-1][1],
        zero_y=_y(0.0, low, high) if low < 0 < high else None,
        first=points[0],
        lowest=min(points, key=lambda point: point[1]),
        last=points[-1],
        is_single=len(points) == 1,
    )


def _bounds(values: Sequence[float], error_ml: float) -> tuple[float, float]:
    least = max(LEAST_CHANGES_TALL * mdc95(error_ml), 1.0)
    low, high = min(values), max(values)
    slack = max(0.0, least - (high - low)) / 2
    return low - slack, high + slack


def _x(on: date, points: Sequence[tuple[date, float]]) -> float:
    first_on, span = points[0][0], (points[-1][0] - points[0][0]).days
    share = (on - first_on).days / span if span else 1.0
    return EDGE + share * (WIDTH - 2 * EDGE)


def _y(value_ml: float, low: float, high: float) -> float:
    return EDGE + (high - value_ml) / (high - low) * (HEIGHT - 2 * EDGE)
