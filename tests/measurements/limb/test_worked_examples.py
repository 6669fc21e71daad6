"""Every worked example from print, by the check that belongs to its id."""

import copy

import pytest

from tests.measurements.limb import worked_judgements, worked_volumes
from tests.measurements.limb.limbs import WORKED

CHECKS = worked_volumes.CHECKS
assert worked_judgements  # its checks have joined the same table


@pytest.mark.parametrize("case_id", sorted(WORKED))
def test_each_worked_example_is_reproduced(case_id: str) -> None:
    case = copy.deepcopy(WORKED[case_id])
    CHECKS[case_id](case["inputs"], case["expected"], case["tolerance"])


def test_no_worked_example_is_left_unexercised() -> None:
    assert CHECKS.keys() == WORKED.keys()
    assert len(WORKED) == 62
