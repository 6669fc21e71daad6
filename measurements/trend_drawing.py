"""Geometry of the small printed trend: points, error bars and a baseline. Plain Python."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil, floor, log10

from clinic.common.vocabulary import Side
from measurements.limb.course import DecongestionFit
from measurements.limb.error import Z_95
from measurements.report import CoursePoint, LimbCourse, LimbPoint

WIDTH, HEIGHT = 460.0, 170.0
LEFT, RIGHT, TOP, BOTTOM = 62.0, 16.0, 14.0, 30.0
CAP = 4.0
WANTED_STEPS = 4


@dataclass(frozen=True)
class TrendMark:
    """One session: where its value, its 95 % bar and the bar's caps lie.

    `square_y` is the top of a square drawn in its place.
    """

    on: date
    value_ml: float
    margin_ml: float
    x: float
    y: float
    low_y: float
    high_y: float
    cap_from_x: float
    cap_to_x: float
    square_y: float


@dataclass(frozen=True)
class TrendSeries:
    """One line. `is_second` draws it dashed with open squares: told apart without colour."""

    label: str
    marks: tuple[TrendMark, ...]
    line: str
    is_second: bool


@dataclass(frozen=True)
class TrendApproach:
    """The fitted approach of the excess: its curve, and the band of the plateau's interval."""

    line: str
    from_x: float
    band_y: float
    band_width: float
    band_height: float


@dataclass(frozen=True)
class TrendTick:
    value_ml: float
    y: float
    text_y: float


@dataclass(frozen=True)
class TrendDrawing:
    """The drawing: width and height in its own units, ticks in mL, dates at both ends."""

    width: float
    height: float
    plot_from_x: float
    plot_to_x: float
    tick_x: float
    date_y: float
    series: tuple[TrendSeries, ...]
    ticks: tuple[TrendTick, ...]
    baseline_y: float | None
    first_on: date
    last_on: date
    is_of_excess: bool
    approach: TrendApproach | None


@dataclass(frozen=True)
class _Value:
    on: date
    ml: float
    error_ml: float

    @property
    def margin_ml(self) -> float:
        return Z_95 * self.error_ml


@dataclass(frozen=True)
class _Scale:
    """From days and mL to the sheet."""

    days: tuple[date, date]
    bounds_ml: tuple[float, float]

    def x(self, on: date) -> float:
        span = (self.days[1] - self.days[0]).days
        share = (on - self.days[0]).days / span if span else 0.5
        return LEFT + 12 + share * (WIDTH - LEFT - RIGHT - 24)

    def y(self, value_ml: float) -> float:
        low, high = self.bounds_ml
        return TOP + (high - value_ml) / (high - low) * (HEIGHT - TOP - BOTTOM)


def trend_drawing(course: LimbCourse) -> TrendDrawing | None:
    """Excess over time; in bilateral disease each limb's change from baseline. None if nothing."""
    named = {label: values for label, values in _values(course) if values}
    if not named:
        return None
    everything = [value for values in named.values() for value in values]
    days = (min(value.on for value in everything), max(value.on for value in everything))
    ticks = _ticks([*_reach(everything), *_plateau_ml(course.told_excess)])
    scale = _Scale(days, (ticks[0], ticks[-1]))
    baseline_ml = _baseline_ml(course)
    return TrendDrawing(
        width=WIDTH,
        height=HEIGHT,
        plot_from_x=LEFT,
        plot_to_x=WIDTH - RIGHT,
        tick_x=LEFT - 8,
        date_y=HEIGHT - 8,
        series=tuple(_all_series(named, scale)),
        ticks=tuple(TrendTick(value, scale.y(value), scale.y(value) + 4) for value in ticks),
        baseline_y=None if baseline_ml is None else scale.y(baseline_ml),
        first_on=days[0],
        last_on=days[1],
        is_of_excess=course.affected_side is not None,
        approach=_approach(course.told_excess, scale),
    )


def _values(course: LimbCourse) -> Iterator[tuple[str, list[_Value]]]:
    if course.affected_side is not None:
        yield "excess volume", list(_excess_values(course.points))
        return
    for side in (Side.RIGHT, Side.LEFT):
        limbs = (
            (point, point.left if side is Side.LEFT else point.right) for point in course.points
        )
        yield (
            f"{side.label} {course.limb.label}",
            [_own_change(point, limb) for point, limb in limbs if limb and _is_known(point, limb)],
        )


def _excess_values(points: Sequence[CoursePoint]) -> Iterator[_Value]:
    for point in points:
        if point.excess_ml is not None and point.error_ml is not None:
            yield _Value(point.taken_on, point.excess_ml, point.error_ml)


def _is_known(point: CoursePoint, limb: LimbPoint) -> bool:
    return point.is_baseline or limb.change_ml is not None


def _own_change(point: CoursePoint, limb: LimbPoint) -> _Value:
    """The baseline itself stands at 0, without a bar: its error is in every change from it."""
    return _Value(point.taken_on, limb.change_ml or 0.0, limb.change_error_ml or 0.0)


def _baseline_ml(course: LimbCourse) -> float | None:
    if course.affected_side is None:
        return 0.0
    return next((point.excess_ml for point in course.points if point.is_baseline), None)


def _reach(values: Sequence[_Value]) -> Iterator[float]:
    """Both ends of each bar."""
    for value in values:
        yield value.ml - value.margin_ml
        yield value.ml + value.margin_ml


def _plateau_ml(fit: DecongestionFit | None) -> tuple[float, ...]:
    """Both ends of the plateau's interval; none without a fit."""
    ends = (fit.plateau_interval_ml.low, fit.plateau_interval_ml.high) if fit else ()
    return tuple(end for end in ends if end is not None)


def _approach(fit: DecongestionFit | None, scale: _Scale) -> TrendApproach | None:
    """Drawn over the days that were measured, not into the future."""
    if fit is None:
        return None
    low_ml, high_ml = _plateau_ml(fit)
    days = [fit.first_on + timedelta(days=n) for n in range((fit.last_on - fit.first_on).days + 1)]
    return TrendApproach(
        line=" ".join(f"{scale.x(on):.1f},{scale.y(fit.at(on)):.1f}" for on in days),
        from_x=scale.x(fit.first_on),
        band_y=scale.y(high_ml),
        band_width=scale.x(fit.last_on) - scale.x(fit.first_on),
        band_height=scale.y(low_ml) - scale.y(high_ml),
    )


def _ticks(shown_ml: Sequence[float]) -> list[float]:
    """Round numbers from at or below the lowest to at or above the highest shown; 0 included."""
    low, high = min(0.0, *shown_ml), max(0.0, *shown_ml)
    step = _round_step(max(high - low, 1.0) / WANTED_STEPS)
    return [step * n for n in range(floor(low / step), ceil(high / step) + 1)] or [0.0]


def _round_step(rough: float) -> float:
    """The next 1, 2 or 5 times a power of ten."""
    power = 10.0 ** floor(log10(rough))
    return next(power * n for n in (1, 2, 5, 10) if power * n >= rough)


def _all_series(named: dict[str, list[_Value]], scale: _Scale) -> Iterator[TrendSeries]:
    for number, (label, values) in enumerate(named.items()):
        marks = tuple(_mark(value, scale) for value in values)
        line = " ".join(f"{mark.x:.1f},{mark.y:.1f}" for mark in marks)
        yield TrendSeries(label, marks, line, is_second=number == 1)


def _mark(value: _Value, scale: _Scale) -> TrendMark:
    x = scale.x(value.on)
    return TrendMark(
        on=value.on,
        value_ml=value.ml,
        margin_ml=value.margin_ml,
        x=x,
        y=scale.y(value.ml),
        low_y=scale.y(value.ml - value.margin_ml),
        high_y=scale.y(value.ml + value.margin_ml),
        cap_from_x=x - CAP,
        cap_to_x=x + CAP,
        square_y=scale.y(value.ml) - CAP,
    )
