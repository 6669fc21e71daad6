"""The shape of an intensive phase: a volume falling towards a plateau, and whether it shows yet.

The excess (or a limb's volume) is fitted with an exponential approach to a plateau, each day
weighted by its tape error. When the fit may be believed is decided by the rules of `Doubt`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from itertools import groupby
from math import exp, hypot, log, sqrt

import numpy as np

from clinic.common.vocabulary import Word
from measurements.limb.approach import Approach, Interval, Series, approach
from measurements.limb.error import Uncertain, mdc95
from measurements.limb.units import Millilitres

DAYS_A_WEEK = 7

# "Fit only with 5 or more points": measurement reference, section 7, our own choice; no source.
FEWEST_DAYS = 5

# Below one half-life the plateau lies further below the last value than the volume has fallen
# so far, so it is an extrapolation by more than was seen. Our own choice; no source.
FEWEST_HALF_LIVES = 1.0

# Chance of the misfit below which the curve is given up. Common practice, no source.
MISFIT_P = 0.01

ASSUMED = (
    "Assumes that the volume falls by the same share each week towards a plateau, that treatment"
    " goes on as it is, and that the days differ from the curve by tape error alone."
)


def decongestion_curve(
    weeks: float, *, start_ml: float, plateau_ml: float, rate_per_week: float
) -> Millilitres:
    """Excess in mL after some weeks: plateau + (start - plateau) exp(-rate weeks).

    A shape to think with: no published fit of this model was found. No error of its own.
    """
    return Millilitres(plateau_ml + (start_ml - plateau_ml) * exp(-rate_per_week * weeks))


class DecongestionVerdict(Word):
    """What an intensive phase shows of its plateau so far."""

    TOO_EARLY = "too_early", "too early to tell"
    STILL_FALLING = "still_falling", "still falling"
    AT_PLATEAU = "at_plateau", "at the plateau, within measurement error"
    NO_PLATEAU = "no_plateau", "no approach to a plateau"
    DOES_NOT_FIT = "does_not_fit", "does not follow an approach to a plateau"


class Doubt(Word):
    """The rule, stated, by which no plateau is given."""

    FEW_DAYS = (
        "few_days",
        f"fewer than {FEWEST_DAYS} days have been measured in the intensive phase",
    )
    BEYOND = (
        "beyond",
        "the plateau lies beyond what the measurements can show: less than half of the way to it"
        " has been seen, or a straight line fits as well",
    )
    WIDE = "wide", "the plateau's 95 % interval is wider than the fall seen so far"
    NO_FALL = "no_fall", "it has not fallen by more than measurement error"
    RISES = "rises", "it has risen by more than measurement error"
    MISFIT = "misfit", "the measurements scatter or bend more than tape error explains"


@dataclass(frozen=True)
class MeasuredDay:
    """An excess or a limb's volume on one day, mL, with both parts of its standard error.

    `shared_error_ml` is the pull of one hand that day: alike in all tapings of the day, so it
    does not average out with them; the next day's is another.
    """

    on: date
    volume_ml: float
    independent_error_ml: float
    shared_error_ml: float

    @property
    def error_ml(self) -> float:
        return hypot(self.independent_error_ml, self.shared_error_ml)


@dataclass(frozen=True)
class DecongestionFit:
    """The fitted approach. mL, per week, days; `covariance` of (start, plateau, rate).

    `start_ml` is the fitted volume on `first_on`. `limit_ml` is the smallest change between two
    such days that counts as real (95 %). From `within_on` on the way left to the plateau is less
    than that; its interval and the plateau's are profile likelihoods at 95 %.
    """

    first_on: date
    last_on: date
    start_ml: float
    plateau_ml: float
    rate_per_week: float
    covariance: tuple[tuple[float, ...], ...]
    plateau_interval_ml: Interval
    limit_ml: float
    within_on: date
    within_from_on: date
    within_to_on: date | None
    chi_square: float
    degrees_of_freedom: int
    misfit_p: float

    @property
    def half_life_days(self) -> float:
        """Days in which the way left to the plateau halves."""
        return DAYS_A_WEEK * log(2) / self.rate_per_week

    @property
    def left_ml(self) -> float:
        """Fitted way left to the plateau on the last day measured."""
        return self.at(self.last_on) - self.plateau_ml

    def at(self, on: date) -> Millilitres:
        """The fitted volume on a day."""
        return decongestion_curve(
            (on - self.first_on).days / DAYS_A_WEEK,
            start_ml=self.start_ml,
            plateau_ml=self.plateau_ml,
            rate_per_week=self.rate_per_week,
        )


@dataclass(frozen=True)
class Decongestion:
    """The verdict on one intensive phase, the rule behind it, and the fit where one was made.

    A fit is kept for looking into even where `doubt` says that it must not be told.
    """

    verdict: DecongestionVerdict
    doubt: Doubt | None
    days_measured: int
    fit: DecongestionFit | None

    @property
    def told(self) -> DecongestionFit | None:
        """The fit that may be shown to a reader: none while there is a doubt."""
        return None if self.doubt else self.fit

    @property
    def assumed(self) -> str:
        """What any fit rests on, as one sentence."""
        return ASSUMED

    @property
    def is_at_plateau(self) -> bool:
        return self.verdict is DecongestionVerdict.AT_PLATEAU


VERDICT_OF_DOUBT = {
    Doubt.FEW_DAYS: DecongestionVerdict.TOO_EARLY,
    Doubt.BEYOND: DecongestionVerdict.TOO_EARLY,
    Doubt.WIDE: DecongestionVerdict.TOO_EARLY,
    Doubt.NO_FALL: DecongestionVerdict.NO_PLATEAU,
    Doubt.RISES: DecongestionVerdict.NO_PLATEAU,
    Doubt.MISFIT: DecongestionVerdict.DOES_NOT_FIT,
}


def excess_day(on: date, affected: Uncertain, other: Uncertain) -> MeasuredDay:
    """The excess of one limb over the other on a day, mL.

    One hand pulled the tape on both, so of the shared errors only the difference is left. Source:
    the same propagation as `error.difference_error`.
    """
    return MeasuredDay(
        on=on,
        volume_ml=affected.ml - other.ml,
        independent_error_ml=hypot(affected.independent_error_ml, other.independent_error_ml),
        shared_error_ml=abs(affected.shared_error_ml - other.shared_error_ml),
    )


def limb_day(on: date, limb: Uncertain) -> MeasuredDay:
    """One limb's own volume on a day, mL."""
    return MeasuredDay(on, limb.ml, limb.independent_error_ml, limb.shared_error_ml)


def decongestion(measured: Iterable[MeasuredDay]) -> Decongestion:
    """The verdict on the measurements of one intensive phase, in any order, mL.

    Errors of different days are independent, so each day weighs by its whole error; several
    tapings of one day count as one. Volumes of one section and method only: the caller's charge.
    """
    return _decongestion(one_a_day(measured))


@lru_cache(maxsize=4096)  # a caseload's worth; the same days give the same fit again and again
def _decongestion(days: tuple[MeasuredDay, ...]) -> Decongestion:
    if len(days) < FEWEST_DAYS:
        return Decongestion(DecongestionVerdict.TOO_EARLY, Doubt.FEW_DAYS, len(days), None)
    found, limit_ml = approach(series_of(days)), limit_of(days)
    fit = _fit(days, found, limit_ml)
    doubt = doubt_of(found, limit_ml)
    verdict = VERDICT_OF_DOUBT[doubt] if doubt else _how_far(fit)
    return Decongestion(verdict, doubt, len(days), fit)


def one_a_day(measured: Iterable[MeasuredDay]) -> tuple[MeasuredDay, ...]:
    """Oldest first; tapings of one day averaged, of which only the independent error shrinks."""
    ordered = sorted(measured, key=lambda each: each.on)
    return tuple(_averaged(list(day)) for _, day in groupby(ordered, key=lambda each: each.on))


def _averaged(same_day: Sequence[MeasuredDay]) -> MeasuredDay:
    count = len(same_day)
    return MeasuredDay(
        on=same_day[0].on,
        volume_ml=sum(each.volume_ml for each in same_day) / count,
        independent_error_ml=hypot(*(each.independent_error_ml for each in same_day)) / count,
        shared_error_ml=sum(each.shared_error_ml for each in same_day) / count,
    )


def series_of(days: Sequence[MeasuredDay]) -> Series:
    """Weeks from the first day, mL and standard errors in mL."""
    first_on = days[0].on
    return Series(
        weeks=np.array([(day.on - first_on).days / DAYS_A_WEEK for day in days]),
        values_ml=np.array([day.volume_ml for day in days]),
        errors_ml=np.array([day.error_ml for day in days]),
    )


def limit_of(days: Sequence[MeasuredDay]) -> float:
    """Smallest real change (95 %) between two days of the phase's usual error, mL."""
    return mdc95(sqrt(sum(day.error_ml**2 for day in days) / len(days)))


def doubt_of(found: Approach, limit_ml: float) -> Doubt | None:
    """The first rule that forbids giving a plateau; None when it may be given."""
    if found.fall_ml < -limit_ml:
        return Doubt.RISES
    if found.misfit_p < MISFIT_P:
        return Doubt.MISFIT
    if found.fall_ml <= limit_ml:
        return Doubt.NO_FALL
    if found.half_lives_seen < FEWEST_HALF_LIVES or not found.plateau_interval.is_closed:
        return Doubt.BEYOND
    if found.plateau_interval.width > found.fall_ml:
        return Doubt.WIDE
    return None


def _how_far(fit: DecongestionFit) -> DecongestionVerdict:
    if fit.within_on <= fit.last_on:
        return DecongestionVerdict.AT_PLATEAU
    return DecongestionVerdict.STILL_FALLING


def _fit(days: Sequence[MeasuredDay], found: Approach, limit_ml: float) -> DecongestionFit:
    first_on, within = days[0].on, found.weeks_until_interval(limit_ml)
    return DecongestionFit(
        first_on=first_on,
        last_on=days[-1].on,
        start_ml=found.start_ml,
        plateau_ml=found.plateau_ml,
        rate_per_week=found.rate_per_week,
        covariance=found.covariance,
        plateau_interval_ml=found.plateau_interval,
        limit_ml=limit_ml,
        within_on=_day(first_on, found.weeks_until(limit_ml)),
        within_from_on=_day(first_on, within.low or 0.0),
        within_to_on=None if within.high is None else _day(first_on, within.high),
        chi_square=found.chi_square,
        degrees_of_freedom=found.degrees_of_freedom,
        misfit_p=found.misfit_p,
    )


def _day(first_on: date, weeks: float) -> date:
    """The first whole day that lies so many weeks on."""
    return first_on + timedelta(days=-int(-weeks * DAYS_A_WEEK // 1))
