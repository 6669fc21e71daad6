"""The table of states, looked at as a graph by networkx."""

from datetime import UTC, datetime, timedelta

import networkx
import pytest

from clinic.scheduling.states import (
    CANCELLED,
    FINAL,
    FIRST,
    FREED,
    HOLDING,
    NEXT,
    Status,
    cancelled_status,
    may_become,
)


@pytest.fixture
def graph() -> networkx.DiGraph:
    return networkx.DiGraph(NEXT)


def test_every_state_can_be_reached_from_booked(graph: networkx.DiGraph) -> None:
    assert {FIRST} | networkx.descendants(graph, FIRST) == set(Status)


def test_only_done_and_cancelled_are_final(graph: networkx.DiGraph) -> None:
    assert {state for state in graph if graph.out_degree(state) == 0} == FINAL
    assert {Status.DONE, Status.CANCELLED_EARLY, Status.CANCELLED_LATE} == FINAL


def test_every_state_that_is_not_final_can_still_end(graph: networkx.DiGraph) -> None:
    for state in set(Status) - FINAL:
        assert networkx.descendants(graph, state) & FINAL, state


def test_nothing_is_done_without_arrival_and_session(graph: networkx.DiGraph) -> None:
    for path in networkx.all_simple_paths(graph, FIRST, Status.DONE):
        assert path[-3:] == [Status.ARRIVED, Status.IN_SESSION, Status.DONE]


def test_each_state_either_holds_its_time_or_gave_it_back() -> None:
    assert set(Status) == HOLDING | FREED
    assert not HOLDING & FREED
    assert {Status.NO_SHOW} == FREED - CANCELLED


def test_a_state_cannot_follow_itself() -> None:
    assert not [state for state in Status if may_become(state, state)]


# Under 24 hours counts as late: common practice, no source.
@pytest.mark.parametrize(
    ("notice", "status"),
    [
        (timedelta(hours=24), Status.CANCELLED_EARLY),
        (timedelta(hours=24, seconds=-1), Status.CANCELLED_LATE),
        (timedelta(0), Status.CANCELLED_LATE),
        (timedelta(hours=-1), Status.CANCELLED_LATE),
    ],
)
def test_less_than_a_day_of_notice_is_late(notice: timedelta, status: Status) -> None:
    now = datetime(2026, 3, 7, 9, tzinfo=UTC)
    assert cancelled_status(starts_at=now + notice, now=now) is status
