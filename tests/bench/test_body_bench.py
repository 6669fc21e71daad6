"""Planning and validating any published situation takes less than 5 ms."""

import statistics
import time
from collections.abc import Callable

import networkx as nx
import pytest

from programmes.body.planner import plan
from programmes.body.situation import Situation
from programmes.body.territory import territory_map
from programmes.body.validator import violations
from tests.programmes.body.cases import SCENARIOS, situation_of

LIMIT_MS = 5.0  # product aim: planning and validating any scenario under 5 ms
# networkx walks the whole map from every place in this time on two quiet cores; a slower or busier
# machine is measured by the same walk in the same run, and its limit stretched by as much.
REFERENCE_WALK_MS = 2.3
RUNS = 15


def spent_ms(work: Callable[[], object]) -> float:
    """Processor time of one call in ms."""
    start = time.process_time()
    work()
    return (time.process_time() - start) * 1000


def _walk_the_map() -> object:
    return dict(nx.all_pairs_dijkstra_path_length(territory_map().graph, weight="cost"))


def _plan_and_validate(situation: Situation) -> object:
    return violations(plan(situation).steps, situation)


def median_ms(situation: Situation) -> float:
    """Median time of plan and validation, each run set against a walk made just before it."""
    taken = []
    for _ in range(RUNS):
        slowdown = max(1.0, spent_ms(_walk_the_map) / REFERENCE_WALK_MS)
        taken.append(spent_ms(lambda: _plan_and_validate(situation)) / slowdown)
    return statistics.median(taken)


@pytest.mark.bench
def test_planning_and_validating_any_situation_takes_under_five_ms() -> None:
    taken = {one["id"]: median_ms(situation_of(one)) for one in SCENARIOS}
    slowest = max(taken, key=lambda name: taken[name])
    middle = statistics.median(taken.values())
    print(f"\nslowest {slowest}: {taken[slowest]:.2f} ms; median of all {middle:.2f} ms")
    assert taken[slowest] < LIMIT_MS
