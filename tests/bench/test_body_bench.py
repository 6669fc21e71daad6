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


def median_ms(work: Callable[[], object]) -> float:
    """Median processor time in ms."""
    taken = []
    for _ in range(RUNS):
        start = time.process_time()
        work()
        taken.append((time.process_time() - start) * 1000)
    return statistics.median(taken)


def _walk_the_map() -> object:
    return dict(nx.all_pairs_dijkstra_path_length(territory_map().graph, weight="cost"))


def _plan_and_validate(situation: Situation) -> object:
    return violations(plan(situation).steps, situation)


@pytest.mark.bench
def test_planning_and_validating_any_situation_takes_under_five_ms() -> None:
    shown, walks = {}, []
    for scenario in SCENARIOS:
        situation = situation_of(scenario)
        walk_ms = median_ms(_walk_the_map)
        slowdown = max(1.0, walk_ms / REFERENCE_WALK_MS)
        shown[scenario["id"]] = median_ms(lambda one=situation: _plan_and_validate(one)) / slowdown
        walks.append(walk_ms)
    slowest = max(shown, key=lambda name: shown[name])
    print(
        f"\nslowest {slowest}: {shown[slowest]:.2f} ms; median {statistics.median(shown.values()):.2f}"
        f" ms; reference walk {statistics.median(walks):.2f} ms"
    )
    assert shown[slowest] < LIMIT_MS
