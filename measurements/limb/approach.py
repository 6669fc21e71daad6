"""Least squares for v(t) = plateau + (start - plateau) exp(-rate t), with honest intervals.

For one rate the curve is linear in start and plateau, so a fine grid of rates gives, in closed
form, the best curve of each rate, every local minimum to start from, and the profile likelihood.
Source of the projection: Golub and Pereyra, SIAM J Numer Anal 1973;10:413-432 (from memory, not
re-read). Weeks and mL throughout. No error of its own: the caller sees to enough points.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import exp, inf, log

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import leastsq
from scipy.special import chdtrc

from measurements.limb.error import Z_95

Floats = NDArray[np.float64]

PARAMETERS = 3  # start, plateau, rate

# Rates looked at: from half-lives of 20 times the span measured, a straight line to any tape, to
# a tenth of the shortest gap, a step to any tape; 200 of them lie 3 to 5 % apart. Our own choice.
SLOWEST_SPANS = 20
FASTEST_GAPS = 10
RATES = 200
TOLERANCE = 1e-11  # relative, of the parameters and of the sum of squares
MOST_STEPS = 60  # some ten are usual from a grid as fine as this
FARTHEST_LOG = 50.0  # a rate past all sense, still a number
STARTS = 3  # the deepest minima of the grid, each refined and compared by its sum of squares

# Chi-square of one degree of freedom at 95 %, which is Z_95 squared: Wilks' theorem.
LIKELIHOOD_95 = Z_95**2


@dataclass(frozen=True)
class Series:
    """Weeks ascending, values and one standard error of each value, in mL, all as arrays."""

    weeks: Floats
    values_ml: Floats
    errors_ml: Floats

    @property
    def span_weeks(self) -> float:
        return float(self.weeks[-1] - self.weeks[0])


@dataclass(frozen=True)
class Interval:
    """From and to, in one unit; None: the data set no end."""

    low: float | None
    high: float | None

    @property
    def is_closed(self) -> bool:
        return self.low is not None and self.high is not None

    @property
    def width(self) -> float:
        """Infinite while an end is open."""
        return inf if self.low is None or self.high is None else self.high - self.low


@dataclass(frozen=True, eq=False)
class Profile:
    """The best curve of each rate: amplitude (start - plateau) and plateau with their variances."""

    rates: Floats
    amplitudes_ml: Floats
    plateaus_ml: Floats
    residual_ss: Floats
    amplitude_variances: Floats
    plateau_variances: Floats


@dataclass(frozen=True, eq=False)
class Approach:
    """The fitted curve; `start_ml` is at week 0. Errors given with the values count as known.

    `covariance` is that of (start, plateau, rate); `chi_square` the weighted residual sum of
    squares. Intervals (95 %) follow the profile likelihood, widened where the values scatter
    more than their errors explain.
    """

    series: Series
    profile: Profile
    start_ml: float
    plateau_ml: float
    rate_per_week: float
    chi_square: float
    covariance: tuple[tuple[float, ...], ...]

    @property
    def amplitude_ml(self) -> float:
        return self.start_ml - self.plateau_ml

    @property
    def degrees_of_freedom(self) -> int:
        return len(self.series.weeks) - PARAMETERS

    @property
    def misfit_p(self) -> float:
        """Chance of so large a chi-square, or a larger one, if the curve and the errors hold."""
        return float(chdtrc(self.degrees_of_freedom, self.chi_square))

    @property
    def half_lives_seen(self) -> float:
        """How often the way that was left has halved between the first and the last value."""
        return self.rate_per_week * self.series.span_weeks / log(2)

    @property
    def fall_ml(self) -> float:
        """Fitted fall from the first to the last value; negative when it rises."""
        first, last = (float(self.series.weeks[index]) for index in (0, -1))
        return self.at(first) - self.at(last)

    def at(self, weeks: float) -> float:
        return self.plateau_ml + self.amplitude_ml * exp(-self.rate_per_week * weeks)

    def weeks_until(self, left_ml: float) -> float:
        """When the way left to the plateau has shrunk to so many mL; 0 if it never was longer."""
        size = abs(self.amplitude_ml)
        return log(size / left_ml) / self.rate_per_week if size > left_ml else 0.0

    @cached_property
    def plateau_interval(self) -> Interval:
        """Profile likelihood, 95 %, mL. Open where a straight line fits as well."""
        half = np.sqrt(self.profile.plateau_variances * self._room)
        low, high = self.profile.plateaus_ml - half, self.profile.plateaus_ml + half
        amplitude = self.profile.amplitudes_ml[0]
        reach = float(np.sqrt(self.profile.amplitude_variances[0] * self._room[0]))
        return Interval(
            None if self._is_straight and amplitude + reach > 0 else float(np.nanmin(low)),
            None if self._is_straight and amplitude - reach < 0 else float(np.nanmax(high)),
        )

    def weeks_until_interval(self, left_ml: float) -> Interval:
        """Profile likelihood, 95 %, of `weeks_until` for a falling curve."""
        half = np.sqrt(self.profile.amplitude_variances * self._room)
        ends = [
            np.log(np.maximum(amplitude, left_ml) / left_ml) / self.profile.rates
            for amplitude in (
                self.profile.amplitudes_ml - half,
                self.profile.amplitudes_ml + half,
            )
        ]
        last = None if self._is_straight else float(np.nanmax(ends[1]))
        return Interval(float(np.nanmin(ends[0])), last)

    @property
    def _is_straight(self) -> bool:
        """Whether the slowest rate looked at is still among those that the data allow."""
        return not np.isnan(self._room[0])

    @cached_property
    def _room(self) -> Floats:
        """What a rate leaves of the likelihood's 95 %; NaN for a rate that the data refuse."""
        scale = max(1.0, self.chi_square / self.degrees_of_freedom)
        room = LIKELIHOOD_95 * scale - (self.profile.residual_ss - self.chi_square)
        return np.where(room >= 0, room, np.nan)


def approach(series: Series) -> Approach:
    """The least-squares curve of at least four values at different times.

    Several starting points, the deepest minima over the grid, are refined by Levenberg and
    Marquardt and compared by their residual sum of squares: a single start can end in a false
    minimum (NIST StRD BoxBOD). A value known exactly is one with next to no error.
    """
    profile = profile_of(series)
    found = [_grid_curve(profile, index) for index in _minima(profile.residual_ss)]
    found += [better for curve in found if (better := _refined(series, profile, curve))]
    start_ml, plateau_ml, rate = min(found, key=lambda curve: _chi_square(series, curve))
    best = (start_ml, plateau_ml, rate)
    return Approach(
        series=series,
        profile=profile,
        start_ml=start_ml,
        plateau_ml=plateau_ml,
        rate_per_week=rate,
        chi_square=_chi_square(series, best),
        covariance=_covariance(series, best),
    )


def profile_of(series: Series) -> Profile:
    """The best curve of each rate of the grid, in closed form."""
    rates = _rates(series)
    weights = series.errors_ml**-2.0
    total = weights.sum()
    decay = np.exp(-rates[:, None] * series.weeks)
    decay_mean = decay @ weights / total
    spread = decay - decay_mean[:, None]
    value_mean = float(series.values_ml @ weights) / total
    apart = series.values_ml - value_mean
    squares = spread**2 @ weights
    amplitudes = spread @ (weights * apart) / squares
    return Profile(
        rates=rates,
        amplitudes_ml=amplitudes,
        plateaus_ml=value_mean - amplitudes * decay_mean,
        residual_ss=(apart - amplitudes[:, None] * spread) ** 2 @ weights,
        amplitude_variances=1 / squares,
        plateau_variances=1 / total + decay_mean**2 / squares,
    )


def _rates(series: Series) -> Floats:
    """Per week, slowest first."""
    shortest = float(np.diff(series.weeks).min())
    return log(2) / np.geomspace(SLOWEST_SPANS * series.span_weeks, shortest / FASTEST_GAPS, RATES)


def _minima(residual_ss: Floats) -> Sequence[int]:
    """Where the grid has its local minima, deepest first, not more than are worth a start."""
    padded = np.concatenate(([inf], residual_ss, [inf]))
    lowest = np.flatnonzero((padded[1:-1] <= padded[:-2]) & (padded[1:-1] <= padded[2:]))
    return [int(index) for index in lowest[np.argsort(residual_ss[lowest])][:STARTS]]


Curve = tuple[float, float, float]


def _grid_curve(profile: Profile, index: int) -> Curve:
    plateau_ml = float(profile.plateaus_ml[index])
    return (
        plateau_ml + float(profile.amplitudes_ml[index]),
        plateau_ml,
        float(profile.rates[index]),
    )


def _refined(series: Series, profile: Profile, curve: Curve) -> Curve | None:
    """The minimum that Levenberg and Marquardt reach; None when it runs out of the grid."""
    found, *_ = leastsq(
        lambda free: _residuals(series, _unlogged(free)),
        (*curve[:2], log(curve[2])),
        Dfun=lambda free: _slopes(series, _unlogged(free)) * (1, 1, _unlogged(free)[2]),
        xtol=TOLERANCE,
        ftol=TOLERANCE,
        maxfev=MOST_STEPS,
        full_output=True,  # a start that runs away is told by its sum of squares, not by a warning
    )
    refined = _unlogged(found)
    return refined if profile.rates[0] <= refined[2] <= profile.rates[-1] else None


def _unlogged(free: Floats) -> Curve:
    """The rate is sought as its logarithm, which keeps it above 0; far off it is cut short."""
    return float(free[0]), float(free[1]), exp(min(float(free[2]), FARTHEST_LOG))


def _residuals(series: Series, curve: Curve) -> Floats:
    start_ml, plateau_ml, rate = curve
    fitted = plateau_ml + (start_ml - plateau_ml) * np.exp(-rate * series.weeks)
    return np.asarray((fitted - series.values_ml) / series.errors_ml)


def _slopes(series: Series, curve: Curve) -> Floats:
    """Of the residuals in start, plateau and rate."""
    return np.stack(list(_columns(series, curve)), axis=1) / series.errors_ml[:, None]


def _columns(series: Series, curve: Curve) -> Iterator[Floats]:
    start_ml, plateau_ml, rate = curve
    decay = np.exp(-rate * series.weeks)
    yield decay
    yield 1 - decay
    yield -(start_ml - plateau_ml) * series.weeks * decay


def _chi_square(series: Series, curve: Curve) -> float:
    return float((_residuals(series, curve) ** 2).sum())


def _covariance(series: Series, curve: Curve) -> tuple[tuple[float, ...], ...]:
    """Inverse of the curvature at the minimum, scaled first: mL and rates differ in size."""
    slopes = _slopes(series, curve)
    sizes = np.linalg.norm(slopes, axis=0)
    sizes[sizes == 0] = 1
    inverse = np.linalg.pinv((slopes / sizes).T @ (slopes / sizes), hermitian=True)
    return tuple(tuple(map(float, row)) for row in inverse / np.outer(sizes, sizes))
