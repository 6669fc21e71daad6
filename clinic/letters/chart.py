"""A small chart as plain coordinates, drawn by a template. No rounding of what is said in words."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import ceil, floor, log10

from clinic.common.vocabulary import Side
from clinic.letters.summary import LimbNumbers, Look, Measured

# A tenth of a millimetre on paper is one unit.
WIDTH, HEIGHT = 780, 330
LEFT, RIGHT, TOP, BOTTOM = 95, 165, 20, 50
FEWEST_POINTS = 2
NAME_HEIGHT = 30
MOST_GRID_LINES = 4


@dataclass(frozen=True)
class Dot:
    """One session of one line, with the ends of its 95 % error bar, in chart units."""

    x: float
    y: float
    y_high: float
    y_low: float
    is_baseline: bool
    is_now: bool


@dataclass(frozen=True)
class Line:
    """One quantity over time; `name` stands at its end, `last_ml` is its newest value."""

    name: str
    dots: tuple[Dot, ...]
    last_ml: float
    name_y: float
    is_second: bool

    @property
    def path(self) -> str:
        return " ".join(f"{dot.x:.1f},{dot.y:.1f}" for dot in self.dots)


@dataclass(frozen=True)
class GridLine:
    value_ml: float
    y: float


@dataclass(frozen=True)
class Chart:
    title: str
    width: int
    height: int
    plot_left: int
    plot_right: int
    lines: tuple[Line, ...]
    grid: tuple[GridLine, ...]
    first_on: date
    last_on: date


@dataclass(frozen=True)
class Scale:
    """From days and mL to chart units."""

    first_on: date
    days: int
    low_ml: float
    high_ml: float

    def x(self, on: date) -> float:
        return LEFT + (on - self.first_on).days / self.days * (WIDTH - LEFT - RIGHT)

    def y(self, value_ml: float) -> float:
        share = (value_ml - self.low_ml) / (self.high_ml - self.low_ml)
        return HEIGHT - BOTTOM - share * (HEIGHT - TOP - BOTTOM)


Series = list[tuple[Look, Measured]]


def chart(numbers: LimbNumbers) -> Chart | None:
    """The excess over time, or each limb's own volume; None with fewer than two sessions."""
    named = {name: points for name, points in _series(numbers).items() if points}
    looks = [look for points in named.values() for look, _ in points]
    days = {look.taken_on for look in looks}
    if len(days) < FEWEST_POINTS:
        return None
    scale = _scale(named, min(days), max(days))
    return Chart(
        title=_title(numbers),
        width=WIDTH,
        height=HEIGHT,
        plot_left=LEFT,
        plot_right=WIDTH - RIGHT,
        lines=_apart(
            [
                _line(name, points, scale, numbers, is_second=index > 0)
                for index, (name, points) in enumerate(named.items())
            ]
        ),
        grid=tuple(GridLine(value, scale.y(value)) for value in _grid(scale)),
        first_on=min(days),
        last_on=max(days),
    )


def _series(numbers: LimbNumbers) -> dict[str, Series]:
    if numbers.affected_side and numbers.now.excess:
        return {"now": [(look, look.excess) for look in numbers.points if look.excess]}
    sides = [numbers.affected_side] if numbers.affected_side else [Side.RIGHT, Side.LEFT]
    return {
        side.label: [(look, own) for look in numbers.points if (own := look.of(side))]
        for side in sides
    }


def _title(numbers: LimbNumbers) -> str:
    side, limb = numbers.affected_side, numbers.limb.label
    if side and numbers.now.excess:
        return f"Excess volume of the {side.label} {limb}, mL"
    if side:
        return f"Volume of the {side.label} {limb}, mL"
    return f"Volume of each {limb}, mL"


def _scale(named: dict[str, Series], first_on: date, last_on: date) -> Scale:
    values = [value for points in named.values() for _, value in points]
    low = min(value.value - value.margin for value in values)
    high = max(value.value + value.margin for value in values)
    step = grid_step(high - low)
    return Scale(
        first_on=first_on,
        days=(last_on - first_on).days,
        low_ml=step * floor(low / step),
        high_ml=step * ceil(high / step),
    )


def grid_step(span_ml: float) -> float:
    """The smallest of 1, 2 or 5 times a power of ten that needs at most four steps."""
    raw = max(span_ml, 1) / MOST_GRID_LINES
    power = 10 ** floor(log10(raw))
    return float(next(power * times for times in (1, 2, 5, 10) if power * times >= raw))


def _grid(scale: Scale) -> Sequence[float]:
    step = grid_step(scale.high_ml - scale.low_ml)
    count = round((scale.high_ml - scale.low_ml) / step)
    return [scale.low_ml + step * index for index in range(count + 1)]


def _line(
    name: str, points: Series, scale: Scale, numbers: LimbNumbers, *, is_second: bool
) -> Line:
    dots = tuple(_dot(look, value, scale, numbers) for look, value in points)
    return Line(name, dots, points[-1][1].value, dots[-1].y, is_second)


def _apart(lines: list[Line]) -> tuple[Line, ...]:
    """Two names that would print over each other are moved apart by equal amounts."""
    if len(lines) < 2 or abs(lines[0].name_y - lines[1].name_y) >= NAME_HEIGHT:
        return tuple(lines)
    upper, lower = sorted(lines, key=lambda line: line.name_y)
    middle = (upper.name_y + lower.name_y) / 2
    moved = {upper: middle - NAME_HEIGHT / 2, lower: middle + NAME_HEIGHT / 2}
    return tuple(replace(line, name_y=moved[line]) for line in lines)


def _dot(look: Look, value: Measured, scale: Scale, numbers: LimbNumbers) -> Dot:
    return Dot(
        x=scale.x(look.taken_on),
        y=scale.y(value.value),
        y_high=scale.y(value.value + value.margin),
        y_low=scale.y(value.value - value.margin),
        is_baseline=bool(numbers.baseline and look.session_id == numbers.baseline.session_id),
        is_now=look.session_id == numbers.now.session_id,
    )
