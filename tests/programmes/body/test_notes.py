"""What a plan says beside its steps, for the record and for the client."""

import pytest

from clinic.common.vocabulary import Basin, Phase, Precaution, Side
from programmes.body.planner import plan
from programmes.body.situation import Options
from tests.programmes.body.cases import SCENARIOS, one_arm, one_leg, situation_of


def test_a_plain_case_needs_no_note() -> None:
    made = plan(one_arm(options=Options(helper_available=False)))
    assert made.notes == ()
    assert made.client_notes == ()


def test_a_treated_armpit_set_to_working_is_on_record() -> None:
    # Suami et al. 2019, BMC Cancer 19:985.
    made = plan(one_arm(basins_set_working=frozenset({(Basin.AXILLA, Side.RIGHT)})))
    assert any("right armpit is set to working" in note for note in made.notes)


def test_the_intensive_phase_says_when_limb_steps_are_done() -> None:
    # Care page 3.1: in phase 1 the bandage is worn about 22 to 23 hours a day.
    made = plan(one_arm(phase=Phase.INTENSIVE))
    assert any("bandage is off" in note for note in made.notes)
    assert plan(one_arm(phase=Phase.MAINTENANCE)).notes == ()


def test_a_long_session_is_said_to_be_long() -> None:
    # Leaflets keep to 15 to 20 min (LEG, GEN, NI, WOOD).
    everything = next(one for one in SCENARIOS if one["id"] == "all_four")
    made = plan(situation_of(everything))
    assert made.minutes > 20
    assert any("two sessions" in note for note in made.notes)


def test_a_cleared_precaution_stays_on_record() -> None:
    found = frozenset({Precaution.ACTIVE_CANCER})
    made = plan(one_arm(precautions=found, cleared=found))
    assert "Cleared: active cancer." in made.notes


@pytest.mark.parametrize(
    "precaution", [Precaution.LOW_BLOOD_PRESSURE, Precaution.DEVICE_UNDER_SKIN]
)
def test_a_precaution_that_leaves_nothing_out_is_still_told(precaution: Precaution) -> None:
    made = plan(one_arm(precautions=frozenset({precaution})))
    assert len(made.client_notes) == 1
    assert len(made.notes) == 1


def test_in_pregnancy_nobody_is_told_to_lie_flat() -> None:
    # Common practice, no source.
    made = plan(one_leg(precautions=frozenset({Precaution.PREGNANCY})))
    assert not any("on your back" in step.position for step in made.steps)
    assert any("Do not lie flat." in one.plain for one in made.left_out)


def test_a_bridge_over_skin_that_may_not_be_touched_is_said_to_be_skipped() -> None:
    made = plan(one_leg(precautions=frozenset({Precaution.ABDOMINAL_SURGERY})))
    assert "We skip the bridge over the lower belly." in [one.plain for one in made.left_out]
