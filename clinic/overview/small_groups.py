"""Numbers as they may leave the practice: small groups hidden, and what would give them away. Pure.

A count of 1 to 4 reads "<5"; 0 stays, for it is about nobody. A total with a small part is given
only as the range that the parts shown allow, so nothing can be taken from it, even by somebody who
knows this rule; shares made from small counts are ranges made the same way, medians of few people
are not given. After: Washington State Department of Health, small numbers publishing
guidelines (non-zero counts, shares made from them, no recalculation by subtraction; there below
10).

What this cannot do: stop two reports over overlapping days from being subtracted.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from clinic.common.vocabulary import Word
from clinic.overview.report_statistics import (
    Interval,
    median_interval,
    median_of,
    middle_half,
    wilson_interval,
)

# Smallest count of people, visits or papers that is shown; common practice, no source.
SMALLEST_SHOWN = 5
MOST_HIDDEN = SMALLEST_SHOWN - 1
# From so many people on no bound of interval or quartiles is the smallest or the largest value,
# which are single people's: the first number whose 95 % ranks are 2 and 8 of 9.
BOUNDS_FROM = 9


class Hidden(Word):
    """Why a count is not given as it is."""

    SMALL = "small", f"<{SMALLEST_SHOWN}"
    RANGE = "range", "range"


@dataclass(frozen=True)
class Count:
    """A number of people, visits or papers from `low` to `high`; shown as it is, both are it."""

    low: int
    high: int
    hidden: Hidden | None = None

    @property
    def value(self) -> int | None:
        """None where it is hidden."""
        return self.low if self.hidden is None else None

    @property
    def text(self) -> str:
        if self.hidden is Hidden.SMALL:
            return self.hidden.label
        return f"{self.low:,}" if self.hidden is None else f"{self.low:,} to {self.high:,}"


@dataclass(frozen=True)
class Parts:
    """Counts that make up a total."""

    cells: tuple[Count, ...]
    total: Count

    @property
    def is_empty(self) -> bool:
        return self.total.high == 0


@dataclass(frozen=True)
class Share:
    """A part of a whole in percent, from `lowest` to `highest`; the same where all is shown.

    None of them for a whole below the smallest shown. The 95 % interval is that of every share in
    between together.
    """

    count: Count
    of: Count
    lowest: float | None = None
    highest: float | None = None
    interval: Interval | None = None

    @property
    def percent(self) -> float | None:
        return self.lowest if self.lowest == self.highest else None


@dataclass(frozen=True)
class Middle:
    """The median of one value a case, in the unit of the values; None for too few people."""

    count: Count
    median: float | None = None
    interval: Interval | None = None
    quartiles: Interval | None = None


def counted(number: int) -> Count:
    """A number, or "<5"."""
    if 0 < number < SMALLEST_SHOWN:
        return Count(1, MOST_HIDDEN, Hidden.SMALL)
    return Count(number, number)


def parts(numbers: Sequence[int]) -> Parts:
    """Counts and their total; a total with a small part is a range made of what is shown."""
    return joined(list(map(counted, numbers)))


def joined(cells: Sequence[Count]) -> Parts:
    """The same from counts some of which are hidden already."""
    low, high = sum(cell.low for cell in cells), sum(cell.high for cell in cells)
    return Parts(tuple(cells), Count(low, high, None if low == high else Hidden.RANGE))


def share(told: Parts, place: int = 0) -> Share:
    """One part of the whole. Nothing but what `told` shows goes into it."""
    part, of = told.cells[place], told.total
    if of.low < SMALLEST_SHOWN:
        return Share(part, of)
    rest = joined([cell for at, cell in enumerate(told.cells) if at != place]).total
    fewest, most = (part.low, part.low + rest.high), (part.high, part.high + rest.low)
    return Share(
        part,
        of,
        lowest=100 * fewest[0] / fewest[1],
        highest=100 * most[0] / most[1],
        interval=Interval(wilson_interval(*fewest).low, wilson_interval(*most).high),
    )


def middle(values: Sequence[float], *, people: int, count: Count | None = None) -> Middle:
    """The median with its 95 % interval and quartiles, in the unit of the values.

    `people` is how many different people the values come from; `count` stands for the number of
    values where that is part of a total. Of a hidden count no more people are taken for granted
    than are shown, or what is given would tell how many there are.
    """
    told = count or counted(len(values))
    known = min(people, told.low)
    if known < SMALLEST_SHOWN:
        return Middle(told)
    if known < BOUNDS_FROM:
        return Middle(told, median_of(values))
    return Middle(told, median_of(values), median_interval(values), middle_half(values))
