"""What an episode's scores say: series of comparable scores and where each stands. Plain Python."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from clinic.common.vocabulary import Side
from measurements.limb.instruments import SPECS, InstrumentSpec, Limit, Limits
from measurements.limb.score_change import (
    RatioLimit,
    ScoreVerdict,
    dominant_at_risk,
    ratio_limit,
    verdict_of,
)
from measurements.scored import SIDES, ScoresTaken, ScoreTaken, Series


@dataclass(frozen=True)
class Striking:
    """When, by whom and why a score was struck out."""

    struck_at: datetime
    struck_by: str
    reason: str


@dataclass(frozen=True)
class ScorePoint:
    """One score as kept, in its instrument's unit."""

    id: UUID
    series: Series
    scored_on: date
    score: Decimal
    items: tuple[Decimal | None, ...]
    note: str
    scored_by: str
    striking: Striking | None = None

    @property
    def spec(self) -> InstrumentSpec:
        return SPECS[self.series.instrument]


@dataclass(frozen=True)
class ScoreRow:
    """A score with its change since the baseline: None for the baseline and for a struck one."""

    point: ScorePoint
    is_baseline: bool
    verdict: ScoreVerdict | None


@dataclass(frozen=True)
class ScoreStanding:
    """Where one series stands: latest, baseline, change and what it means.

    Scores in the instrument's unit. `verdict` is None while the latest is the baseline; `limit` is
    a ratio's upper limit among healthy people, None for other instruments.
    """

    series: Series
    latest: ScorePoint
    baseline: ScorePoint
    verdict: ScoreVerdict | None
    limit: RatioLimit | None

    @property
    def spec(self) -> InstrumentSpec:
        return SPECS[self.series.instrument]

    @property
    def change(self) -> float | None:
        return self.verdict.change if self.verdict else None

    @property
    def meaning(self) -> str:
        """ "better: matters", or "baseline"."""
        return self.verdict.words if self.verdict else "baseline"


@dataclass(frozen=True)
class ScoreSeries:
    """All scores that may be compared, oldest first, struck ones among them."""

    series: Series
    rows: tuple[ScoreRow, ...]
    standing: ScoreStanding | None

    @property
    def spec(self) -> InstrumentSpec:
        return SPECS[self.series.instrument]

    @property
    def limits(self) -> Limits:
        return self.spec.limits_for(self.series.part)

    @property
    def band(self) -> Limit | None:
        """What the "matters" band is made of: the larger of the known limits."""
        return band_limit(self)

    @property
    def live(self) -> tuple[ScoreRow, ...]:
        return tuple(row for row in self.rows if row.point.striking is None)


def band_limit(series: ScoreSeries) -> Limit | None:
    """The larger of the known limits at the baseline: beyond it a change matters and is real."""
    if series.standing is None:
        return None
    baseline = float(series.standing.baseline.score)
    known = [
        each for each in (series.limits.matters, series.limits.beyond_error) if each is not None
    ]
    return max(known, key=lambda limit: limit.at(baseline), default=None)


def series_of(points: Iterable[ScorePoint], *, dominant: Side | None) -> tuple[ScoreSeries, ...]:
    """Points, oldest first, gathered into series in the registry's order."""
    grouped: dict[Series, list[ScorePoint]] = {}
    for point in points:
        grouped.setdefault(point.series, []).append(point)
    made = [_series(series, found, dominant) for series, found in grouped.items()]
    return tuple(sorted(made, key=lambda each: _order(each.series)))


def _series(series: Series, points: Sequence[ScorePoint], dominant: Side | None) -> ScoreSeries:
    live = [point for point in points if point.striking is None]
    baseline = live[0] if live else None
    rows = tuple(_row(point, baseline) for point in points)
    standing = _standing(live, dominant) if live else None
    return ScoreSeries(series, rows, standing)


def _row(point: ScorePoint, baseline: ScorePoint | None) -> ScoreRow:
    return ScoreRow(point, point is baseline, _verdict(point, baseline))


def _verdict(point: ScorePoint, baseline: ScorePoint | None) -> ScoreVerdict | None:
    if baseline is None or point is baseline or point.striking is not None:
        return None
    return verdict_of(
        float(point.score), float(baseline.score), spec=point.spec, part=point.series.part
    )


def _standing(live: Sequence[ScorePoint], dominant: Side | None) -> ScoreStanding:
    baseline, latest = live[0], live[-1]
    series = latest.series
    return ScoreStanding(
        series=series,
        latest=latest,
        baseline=baseline,
        verdict=_verdict(latest, baseline),
        limit=limit_of(series, latest.score, dominant),
    )


def limit_of(series: Series, score: Decimal, dominant: Side | None) -> RatioLimit | None:
    """The upper limit of a ratio. Sources: `limb.score_change`."""
    at_risk = dominant_at_risk(series.side, dominant)
    return ratio_limit(series.instrument, float(score), part=series.part, dominant_at_risk=at_risk)


def _order(series: Series) -> tuple[int, int, int, tuple[str, ...]]:
    spec = SPECS[series.instrument]
    part = spec.parts.index(series.part) if series.part in spec.parts else -1
    side = SIDES.index(series.side) if series.side else -1
    return list(SPECS).index(series.instrument), part, side, series.activities


@dataclass(frozen=True)
class ScorePreview:
    """What a score not yet kept would say. `verdict` is None where it would be the baseline."""

    series: Series
    score: Decimal
    verdict: ScoreVerdict | None
    limit: RatioLimit | None

    @property
    def spec(self) -> InstrumentSpec:
        return SPECS[self.series.instrument]


def previews(
    taken: ScoresTaken, history: Sequence[ScoreSeries], *, dominant: Side | None
) -> tuple[ScorePreview, ...]:
    """Each score against the baseline its series has; one of an earlier day has none."""
    baselines = {each.series: each.standing.baseline for each in history if each.standing}
    return tuple(_preview(each, baselines, taken.scored_on, dominant) for each in taken.scores)


def _preview(
    each: ScoreTaken, baselines: dict[Series, ScorePoint], on: date, dominant: Side | None
) -> ScorePreview:
    baseline = baselines.get(each.series)
    limit = limit_of(each.series, each.score, dominant)
    if baseline is None or on < baseline.scored_on:
        return ScorePreview(each.series, each.score, None, limit)
    spec, score = SPECS[each.series.instrument], float(each.score)
    verdict = verdict_of(score, float(baseline.score), spec=spec, part=each.series.part)
    return ScorePreview(each.series, each.score, verdict, limit)
