"""Whom to worry about first, and the small trend. The order is our own choice; no source."""

from datetime import date, timedelta

import pytest

from clinic.overview.concern import (
    Concern,
    ConcernFacts,
    Flag,
    FlagKind,
    concern_of,
    flag,
    is_recent,
    pressing_first,
)
from clinic.overview.sparkline import EDGE, HEIGHT, WIDTH, sparkline

TODAY = date(2026, 3, 4)
YESTERDAY = TODAY - timedelta(days=1)


def facts(*flags: Flag, worse: float | None = None, due: date | None = None) -> ConcernFacts:
    return ConcernFacts(flags, worse, due)


@pytest.mark.parametrize(
    ("known", "concern"),
    [
        (facts(), Concern.CALM),
        (facts(flag(FlagKind.PRECAUTION), flag(FlagKind.UNSIGNED)), Concern.CALM),
        (facts(due=TODAY + timedelta(days=9)), Concern.SOON),
        (facts(due=TODAY), Concern.SOON),
        (facts(due=YESTERDAY), Concern.LATE),
        (facts(worse=0.0, due=YESTERDAY), Concern.WORSE),
        (facts(flag(FlagKind.BARRED), worse=30.0, due=YESTERDAY), Concern.LOOK),
        (facts(flag(FlagKind.SUDDEN_RISE)), Concern.LOOK),
        (facts(flag(FlagKind.RED_FLAG)), Concern.LOOK),
        (facts(flag(FlagKind.WITHDRAW)), Concern.CALM),
        (facts(Flag(FlagKind.WITHDRAW, is_urgent=True)), Concern.LOOK),
    ],
)
def test_the_most_pressing_reason_decides(known: ConcernFacts, concern: Concern) -> None:
    assert concern_of(known, today=TODAY) is concern


def test_within_a_concern_more_flags_then_larger_rises_then_longer_overdue_come_first() -> None:
    wanted = [
        facts(flag(FlagKind.RED_FLAG), flag(FlagKind.SUDDEN_RISE)),
        facts(flag(FlagKind.RED_FLAG), worse=3.0),
        facts(flag(FlagKind.RED_FLAG)),
        facts(worse=12.0),
        facts(worse=4.0, due=YESTERDAY),
        facts(due=YESTERDAY - timedelta(days=200)),
        facts(due=YESTERDAY),
        facts(due=TODAY + timedelta(days=3)),
        facts(),
    ]
    assert sorted(reversed(wanted), key=lambda each: pressing_first(each, today=TODAY)) == wanted


def test_a_red_flag_asks_for_a_look_for_two_weeks() -> None:
    assert is_recent(TODAY - timedelta(days=14), today=TODAY)
    assert not is_recent(TODAY - timedelta(days=15), today=TODAY)


POINTS = [(date(2026, 1, 5), 420.0), (date(2026, 2, 4), 180.0), (date(2026, 3, 6), 260.0)]


def test_the_trend_says_first_lowest_and_last_and_keeps_within_its_box() -> None:
    drawn = sparkline(POINTS, 5.0)
    assert drawn
    assert (drawn.first, drawn.lowest, drawn.last) == (POINTS[0], POINTS[1], POINTS[2])
    places = [tuple(map(float, pair.split(","))) for pair in drawn.line.split()]
    assert [x for x, _ in places] == [EDGE, WIDTH / 2, WIDTH - EDGE]  # 30 days each
    assert places[0][1] == EDGE
    assert places[1][1] == HEIGHT - EDGE
    assert drawn.zero_y is None


def test_a_change_within_error_is_drawn_flat() -> None:
    """20 mL between sessions of 40 mL error: less than half of the strip's height."""
    drawn = sparkline([(date(2026, 1, 5), 300.0), (date(2026, 2, 4), 320.0)], 40.0)
    assert drawn
    heights = [float(pair.split(",")[1]) for pair in drawn.line.split()]
    assert abs(heights[0] - heights[1]) < HEIGHT / 5


def test_zero_is_drawn_where_the_trend_crosses_it_and_one_session_is_a_point() -> None:
    crossing = sparkline([(date(2026, 1, 5), -100.0), (date(2026, 2, 4), 100.0)], 1.0)
    assert crossing
    assert crossing.zero_y == pytest.approx(HEIGHT / 2)
    single = sparkline(POINTS[:1], None)
    assert single
    assert single.is_single
    assert sparkline([], 5.0) is None
