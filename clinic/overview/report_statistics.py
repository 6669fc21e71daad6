"""Shares and medians with their 95 % intervals. Pure, with scipy.

Both intervals say how far chance alone could move a number of this size, for a practice whose
clients keep coming as they did; they say nothing of causes.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import median, quantiles

from scipy.stats import binom

# Two-sided 95 % of a normal distribution, to the 6 places usual in tables.
Z_95 = 1.959964
CONFIDENCE = 0.95


@dataclass(frozen=True)
class Interval:
    """From low to high, in the unit of what it belongs to."""

    low: float
    high: float


def wilson_interval(count: int, of: int) -> Interval:
    """95 % score interval of a share, in percent; `of` above 0, else ValueError.

    Source: Wilson, J Am Stat Assoc 1927;22:209-212; method 3 of Newcombe, Stat Med
    1998;17:857-872, who recommends it for small numbers.
    """
    if not 0 <= count <= of or of == 0:
        raise ValueError((count, of))
    share, widening = count / of, Z_95**2 / of
    middle = share + widening / 2
    half = Z_95 * sqrt(share * (1 - share) / of + widening / (4 * of))
    low, high = ((middle + sign * half) / (1 + widening) for sign in (-1, 1))
    return Interval(100 * max(low, 0.0), 100 * min(high, 1.0))


def median_ranks(number: int) -> tuple[int, int] | None:
    """Ranks, from 1, of the values that bound the median with at least 95 %; None below 6 values.

    Distribution-free: the number of values below the median is binomial with one half. Source:
    Conover, Practical Nonparametric Statistics, 3rd edition, 1999, 3.2; from memory, not re-read.
    """
    lower = int(binom.ppf((1 - CONFIDENCE) / 2, number, 0.5))
    return (lower, number + 1 - lower) if lower >= 1 else None


def median_interval(values: Sequence[float]) -> Interval | None:
    """95 % interval of the median by order statistics, in the unit of the values; see ranks."""
    ranks = median_ranks(len(values))
    if ranks is None:
        return None
    ordered = sorted(values)
    return Interval(ordered[ranks[0] - 1], ordered[ranks[1] - 1])


def middle_half(values: Sequence[float]) -> Interval:
    """First and third quartile; at least 2 values.

    Linear between order statistics: definition 7 of Hyndman and Fan, Am Stat 1996;50:361-365.
    """
    first, _, third = quantiles(values, n=4, method="inclusive")
    return Interval(first, third)


def median_of(values: Sequence[float]) -> float:
    """The middle value, or the mean of the two middle ones; at least 1 value."""
    return median(values)
