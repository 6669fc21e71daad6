"""Protocols yield the levels they say, and refuse to yield nonsense."""

from dataclasses import replace
from itertools import pairwise

import pytest

from clinic.common.vocabulary import Limb
from measurements.limb.errors import BadProtocol, LengthNotPositive
from measurements.limb.levels import (
    ARM_4CM,
    ARM_10CM,
    LEG_4CM,
    PRESETS,
    ProtocolSpec,
    levels_cm,
    levels_up_to,
    station_labels,
)
from tests.measurements.limb.limbs import WORKED


def test_the_arm_preset_has_the_stations_of_the_worked_arm() -> None:
    """Case arm-4cm-affected: 11 girths from the ulnar styloid, 0 to 40 cm."""
    girths = WORKED["arm-4cm-affected"]["inputs"]["circumferences_cm"]
    levels = levels_cm(ARM_4CM)
    assert len(levels) == len(girths)
    assert (levels[0], levels[-1]) == (0, 40)


def test_a_short_limb_gets_a_shorter_last_step() -> None:
    """Case arm-10cm-unequal-last: 0, 10, 20, 30, 37.5 cm."""
    positions = WORKED["arm-10cm-unequal-last"]["inputs"]["positions_cm"]
    assert list(levels_up_to(ARM_10CM, 37.5)) == positions


def test_landmarks_join_the_levels_in_order() -> None:
    spec = replace(ARM_10CM, landmarks=(("elbow crease", 24.5), ("at 20", 20)))
    assert levels_cm(spec) == (0, 10, 20, 24.5, 30, 40)
    assert station_labels(spec)[24.5] == "elbow crease"


def test_stations_are_named_by_their_height_above_the_landmark() -> None:
    assert station_labels(ARM_4CM)[0] == "at ulnar styloid"
    assert station_labels(LEG_4CM)[14] == "14 cm above sole of the foot"


def test_spacings_that_binary_cannot_hold_give_clean_levels() -> None:
    spec = ProtocolSpec(Limb.ARM, "wrist crease", 0.1, 0.1, 4)
    assert levels_cm(spec) == (0.1, 0.2, 0.3, 0.4)


@pytest.mark.parametrize("spec", PRESETS.values(), ids=PRESETS)
def test_presets_rise_by_their_spacing(spec: ProtocolSpec) -> None:
    levels = levels_cm(spec)
    steps = {high - low for low, high in pairwise(levels)}
    assert steps == {spec.spacing_cm}
    assert levels[0] == spec.offset_cm


@pytest.mark.parametrize(
    "wrong",
    [{"offset_cm": -1}, {"station_count": 1}, {"station_count": 0}, {"landmarks": (("x", -2),)}],
)
def test_a_protocol_without_two_levels_on_the_limb_is_refused(wrong: dict) -> None:
    with pytest.raises(BadProtocol):
        levels_cm(replace(ARM_4CM, **wrong))


def test_a_spacing_of_zero_is_refused_by_name() -> None:
    with pytest.raises(LengthNotPositive) as caught:
        levels_cm(replace(ARM_4CM, spacing_cm=0))
    assert caught.value.name == "spacing_cm"


def test_a_limb_shorter_than_the_first_step_is_refused() -> None:
    with pytest.raises(BadProtocol):
        levels_up_to(ARM_4CM, 0)
