"""Geometry of a series' small trend: points, baseline and the "matters" band. Plain Python."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil, floor, log10

from measurements.limb.instruments import InstrumentSpec
from measurements.limb.score_change import KEPT_TO
from measurements.score_report import ScoreRow, ScoreSeries

WIDTH, HEIGHT = 460.0, 170.0
LEFT, RIGHT, TOP, BOTTOM = 52.0, 16.0, 14.0, 30.0
WANTED_STEPS = 4
RADIUS = 3.6


@dataclass(frozen=True)
class ScoreMark:
    """One score at its place; filled on or outside the band, and for the baseline itself."""

    row: ScoreRow
    x: float
    y: float
    is_filled: bool


@dataclass(frozen=True)
class ScoreTick:
    value: float
    y: float
    text_y: float


@dataclass(frozen=True)
class ScoreBand:
    """The smallest change either side of the baseline, cut off at the ends of the drawing."""

    y: float
    height: float
    limit: float


@dataclass(frozen=True)
class ScoreDrawing:
    """The drawing: width and height in its own units, ticks in the instrument's unit."""

    width: float
    height: float
    plot_from_x: float
    plot_to_x: float
    plot_width: float
    tick_x: float
    date_y: float
    radius: float
    marks: tuple[ScoreMark, ...]
    line: str
    ticks: tuple[ScoreTick, ...]
    baseline_y: float
    band: ScoreBand | None

    @property
    def first_on(self) -> date:
        return self.marks[0].row.point.scored_on

    @property
    def last_on(self) -> date:
        return self.marks[-1].row.point.scored_on


@dataclass(frozen=True)
class _Scale:
    """From days and scores to the sheet."""

    days: tuple[date, date]
    bounds: tuple[float, float]

    def x(self, on: date) -> float:
        span = (self.days[1] - self.days[0]).days
        share = (on - self.days[0]).days / span if span else 0.5
        return LEFT + 12 + share * (WIDTH - LEFT - RIGHT - 24)

    def y(self, value: float) -> float:
        low, high = self.bounds
        within = min(max(value, low), high)
        return TOP + (high - within) / (high - low) * (HEIGHT - TOP - BOTTOM)


def score_drawing(series: ScoreSeries) -> ScoreDrawing | None:
    """The trend of a series' live scores; None until there are two of them."""
    rows = series.live
    if series.standing is None or len(rows) < 2:
        return None
    baseline = float(series.standing.baseline.score)
    limit = series.band.at(baseline) if series.band else None
    ticks = _ticks([float(row.point.score) for row in rows], baseline, limit, series.spec)
    days = (rows[0].point.scored_on, rows[-1].point.scored_on)
    scale = _Scale(days, (ticks[0], ticks[-1]))
    marks = tuple(
        ScoreMark(
            row,
            scale.x(row.point.scored_on),
            scale.y(float(row.point.score)),
            is_filled=_is_outside(row, limit),
        )
        for row in rows
    )
    return ScoreDrawing(
        width=WIDTH,
        height=HEIGHT,
        plot_from_x=LEFT,
        plot_to_x=WIDTH - RIGHT,
        plot_width=WIDTH - RIGHT - LEFT,
        tick_x=LEFT - 8,
        date_y=HEIGHT - 8,
        radius=RADIUS,
        marks=marks,
        line=" ".join(f"{mark.x:.1f},{mark.y:.1f}" for mark in marks),
        ticks=tuple(ScoreTick(value, scale.y(value), scale.y(value) + 4) for value in ticks),
        baseline_y=scale.y(baseline),
        band=_band(baseline, limit, scale),
    )


def _is_outside(row: ScoreRow, limit: float | None) -> bool:
    if row.verdict is None or limit is None:
        return True
    return abs(row.verdict.change) >= limit - KEPT_TO


def _band(baseline: float, limit: float | None, scale: _Scale) -> ScoreBand | None:
    if limit is None:
        return None
    top, bottom = scale.y(baseline + limit), scale.y(baseline - limit)
    return ScoreBand(top, bottom - top, limit)


def _ticks(
    scores: Sequence[float], baseline: float, limit: float | None, spec: InstrumentSpec
) -> list[float]:
    """Round numbers around every score and the band, inside what the instrument can give."""
    reach = limit or 0.0
    low = max(min(*scores, baseline - reach), spec.lowest if spec.lowest < 1 else 0.0)
    high = min(max(*scores, baseline + reach), spec.highest)
    least = 10.0**-spec.decimals
    step = _round_step(max(high - low, least) / WANTED_STEPS)
    first, last = floor(low / step + 1e-9), ceil(high / step - 1e-9)
    return [step * n for n in range(first, max(last, first + 1) + 1)]


def _round_step(rough: float) -> float:
    """The next 1, 2 or 5 times a power of ten."""
    power = 10.0 ** floor(log10(rough))
    return next(power * n for n in (1, 2, 5, 10) if power * n >= rough - 1e-12)
