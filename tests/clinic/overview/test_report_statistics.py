"""Shares, medians and their intervals against published tables and reference libraries."""

import numpy as np
import pytest
from scipy import stats

from clinic.overview.report_statistics import (
    median_interval,
    median_of,
    median_ranks,
    middle_half,
    wilson_interval,
)

# Newcombe, Stat Med 1998;17:857-872, table I, method 3: r, n, lower, upper; from memory, not
# re-read.
NEWCOMBE_1998 = [
    (81, 263, 0.2553, 0.3662),
    (15, 148, 0.0624, 0.1605),
    (0, 20, 0.0000, 0.1611),
    (1, 29, 0.0061, 0.1718),
]

# "Confidence Intervals for the Population Median", table A.7 of a statistics textbook, as shown at
# coursehero.com/file/5646626: n, ranks of the narrowest interval of at least 95 %, its level in %.
MEDIAN_TABLE = [
    (6, 1, 6, 96.9),
    (7, 1, 7, 98.4),
    (8, 1, 8, 99.2),
    (9, 2, 8, 96.1),
    (10, 2, 9, 97.9),
    (11, 2, 10, 98.8),
    (12, 3, 10, 96.1),
    (13, 3, 11, 97.8),
    (14, 3, 12, 98.7),
    (15, 4, 12, 96.5),
    (16, 4, 13, 97.9),
    (17, 5, 13, 95.1),
    (18, 5, 14, 96.9),
    (19, 5, 15, 98.1),
    (20, 6, 15, 95.9),
]

# Worked example of `ci.median`, R package statpsych (dgbonett.github.io/statpsych), after
# Snedecor and Cochran 1989: median 20.7, 95 % interval 10.8 to 30.9.
STATPSYCH = "30.2 20.4 15.1 10.2 10.5 60.8 20.8 25 20.7 30.9 10.8 5.1 50.9 40 20.9 10.8 0 20.5 50.8"


@pytest.mark.parametrize(("count", "of", "low", "high"), NEWCOMBE_1998)
def test_a_share_has_the_interval_that_newcombe_prints(
    count: int, of: int, low: float, high: float
) -> None:
    found = wilson_interval(count, of)
    assert found.low == pytest.approx(100 * low, abs=0.006)
    assert found.high == pytest.approx(100 * high, abs=0.006)


@pytest.mark.parametrize("of", [1, 5, 9, 37, 400])
def test_a_share_has_the_interval_of_scipy(of: int) -> None:
    for count in range(of + 1):
        expected = stats.binomtest(count, of).proportion_ci(method="wilson")
        found = wilson_interval(count, of)
        assert found.low == pytest.approx(100 * expected.low, abs=1e-4)
        assert found.high == pytest.approx(100 * expected.high, abs=1e-4)


def test_no_share_of_nothing_and_none_above_the_whole() -> None:
    for count, of in ((0, 0), (3, 2), (-1, 4)):
        with pytest.raises(ValueError, match=str(of)):
            wilson_interval(count, of)


@pytest.mark.parametrize(("number", "low", "high", "level"), MEDIAN_TABLE)
def test_a_medians_ranks_are_those_of_the_table(
    number: int, low: int, high: int, level: float
) -> None:
    assert median_ranks(number) == (low, high)
    outside = 2 * stats.binom.cdf(low - 1, number, 0.5)
    assert 100 * (1 - outside) == pytest.approx(level, abs=0.06)


def test_five_values_bound_no_median_at_95_percent() -> None:
    assert median_ranks(5) is None  # the table: 93.8 % from the first to the fifth
    assert median_interval([3.0, 1.0, 2.0, 5.0, 4.0]) is None


def test_a_median_has_the_interval_of_a_published_example() -> None:
    values = [float(each) for each in STATPSYCH.split()]
    found = median_interval(values)
    assert median_of(values) == 20.7
    assert found
    assert (found.low, found.high) == (10.8, 30.9)


@pytest.mark.parametrize("number", [6, 9, 20, 53])
def test_a_median_has_the_interval_of_scipy(number: int) -> None:
    values = np.random.default_rng(number).normal(size=number).tolist()
    expected = stats.quantile_test(values, p=0.5).confidence_interval(confidence_level=0.95)
    found = median_interval(values)
    assert found
    assert (found.low, found.high) == (expected.low, expected.high)


@pytest.mark.parametrize("number", [2, 5, 8, 31])
def test_quartiles_and_medians_are_those_of_numpy(number: int) -> None:
    values = np.random.default_rng(number).exponential(size=number).tolist()
    found = middle_half(values)
    expected = np.percentile(values, [25, 50, 75])
    assert [found.low, median_of(values), found.high] == pytest.approx(expected)
