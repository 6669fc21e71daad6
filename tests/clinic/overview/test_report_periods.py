"""Periods by the calendar, and what fell due in one, worked out by hand on a calendar."""

from collections import Counter
from datetime import date

import pytest

from clinic.overview.report_dues import Kept, Watched, due_in, letter_is_on_time
from clinic.overview.report_period import Period, PeriodKind, last_whole, period_of

JULY_TO_SEPTEMBER = Period(date(2026, 7, 1), date(2026, 9, 30))
TODAY = date(2026, 11, 25)


@pytest.mark.parametrize(
    ("period", "kind", "name", "previous"),
    [
        (
            Period(date(2024, 2, 1), date(2024, 2, 29)),
            PeriodKind.MONTH,
            "February 2024",
            Period(date(2024, 1, 1), date(2024, 1, 31)),
        ),
        (
            JULY_TO_SEPTEMBER,
            PeriodKind.QUARTER,
            "July to September 2026",
            Period(date(2026, 4, 1), date(2026, 6, 30)),
        ),
        (
            Period(date(2026, 1, 1), date(2026, 12, 31)),
            PeriodKind.YEAR,
            "2026",
            Period(date(2025, 1, 1), date(2025, 12, 31)),
        ),
        (
            Period(date(2026, 1, 10), date(2026, 2, 8)),  # 30 days
            PeriodKind.FREE,
            "10 January to 8 February 2026",
            Period(date(2025, 12, 11), date(2026, 1, 9)),
        ),
    ],
)
def test_a_period_knows_its_kind_its_name_and_the_one_before(
    period: Period, kind: PeriodKind, name: str, previous: Period
) -> None:
    assert (period.kind, period.name, period.previous) == (kind, name, previous)
    assert previous.following.from_on == period.from_on


def test_the_last_whole_period_is_over() -> None:
    assert last_whole(PeriodKind.QUARTER, TODAY) == JULY_TO_SEPTEMBER
    assert last_whole(PeriodKind.YEAR, TODAY) == period_of(PeriodKind.YEAR, date(2025, 6, 1))
    assert last_whole(PeriodKind.MONTH, date(2026, 3, 31)).to_on == date(2026, 2, 28)


def watched(*taped_on: date, every_months: int | None = None) -> Watched:
    opened_on = date(2026, 1, 5)
    return Watched(opened_on, every_months, taped_on, ((opened_on, None),))


# Three months after the baseline: Stout Gergich et al., Cancer 2008;112:2809-2819. Taped on 5 May,
# so due on 5 August; the recall list shows it from 22 July on.
@pytest.mark.parametrize(
    ("next_on", "kept"),
    [
        (date(2026, 7, 22), Kept.ON_TIME),
        (date(2026, 8, 5), Kept.ON_TIME),
        (date(2026, 8, 6), Kept.LATE),
        (date(2026, 8, 19), Kept.LATE),
        (date(2026, 8, 20), Kept.MISSED),
        (None, Kept.MISSED),
    ],
)
def test_a_re_measurement_is_on_time_by_its_day(next_on: date | None, kept: Kept) -> None:
    taped_on = (date(2026, 5, 5), *([next_on] if next_on else []))
    assert list(due_in(watched(*taped_on), JULY_TO_SEPTEMBER, today=TODAY)) == [kept]


def test_a_taping_before_the_list_showed_the_day_moves_it() -> None:
    """Taped on 21 July: the day moves from 5 August to 21 October, which is another period."""
    one = watched(date(2026, 5, 5), date(2026, 7, 21))
    assert not list(due_in(one, JULY_TO_SEPTEMBER, today=TODAY))
    autumn = JULY_TO_SEPTEMBER.following
    assert list(due_in(one, autumn, today=TODAY)) == [Kept.MISSED]
    assert not list(due_in(one, autumn, today=date(2026, 10, 21)))  # its day is not over


def test_nothing_is_due_outside_surveillance_and_months_may_differ() -> None:
    opened_on, taped_on = date(2026, 1, 5), (date(2026, 5, 5),)
    left = Watched(opened_on, None, taped_on, ((opened_on, date(2026, 8, 5)),))
    assert not list(due_in(left, JULY_TO_SEPTEMBER, today=TODAY))
    monthly = watched(*taped_on, date(2026, 7, 1), date(2026, 8, 1), every_months=1)
    # Due on 5 June (another period), 1 August (kept) and 1 September (missed).
    assert Counter(due_in(monthly, JULY_TO_SEPTEMBER, today=TODAY)) == {
        Kept.ON_TIME: 1,
        Kept.MISSED: 1,
    }


def test_a_letter_is_on_time_within_fourteen_days() -> None:
    assert letter_is_on_time(date(2026, 9, 30), date(2026, 10, 14))
    assert not letter_is_on_time(date(2026, 9, 30), date(2026, 10, 15))
