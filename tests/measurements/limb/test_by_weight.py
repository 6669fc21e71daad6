"""A limb's own change beside that of body weight, where both limbs are affected."""

from math import hypot

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from clinic.common.vocabulary import Side
from measurements.limb.comparison import (
    ByWeight,
    Verdict,
    WeightSays,
    by_weight,
    change_since,
    verdict,
)
from measurements.limb.error import SCALE_ERROR_KG, change_error
from measurements.limb.volume import limb_volume
from tests.measurements.limb.limbs import limb, worked_limb

UP, DOWN, WITHIN = Verdict.BEYOND_ERROR_UP, Verdict.BEYOND_ERROR_DOWN, Verdict.WITHIN_ERROR
ARM = worked_limb("arm-4cm-affected", Side.RIGHT)


def scaled(volume_ratio: float):
    """The arm with its volume times a ratio: volume goes with the square of the girth."""
    return limb(ARM.levels_cm, [girth * volume_ratio**0.5 for girth in ARM.girths_cm], Side.RIGHT)


def change(volume_ratio: float, *weights_kg: float | None):
    return change_since(scaled(volume_ratio), ARM, weights_kg=weights_kg)


# WAC = (A2 W1) / (W2 A1) - 1: Miller et al., Lymphology 2013;46:64-74 [memory], by hand.
# A2/A1, W1, W2, WAC in percent, the tape's verdict, what weight says of it, better or worse.
WORKED = [
    (0.94, 80.0, 73.6, 100 * (0.94 / 0.92 - 1), DOWN, WeightSays.FAILS, WITHIN),
    (0.94, 80.0, 80.0, -6.0, DOWN, WeightSays.HOLDS, DOWN),
    (0.94, 80.0, 84.0, 100 * (0.94 / 1.05 - 1), DOWN, WeightSays.HOLDS, DOWN),
    (0.88, 80.0, 76.0, 100 * (0.88 / 0.95 - 1), DOWN, WeightSays.HOLDS, DOWN),
    (1.10, 70.0, 77.0, 0.0, UP, WeightSays.FAILS, WITHIN),
    (1.10, 70.0, 70.0, 10.0, UP, WeightSays.HOLDS, UP),
    (1.00, 70.0, 77.0, 100 * (1 / 1.1 - 1), WITHIN, WeightSays.SMALLER, WITHIN),
    (1.00, 70.0, 63.0, 100 * (1 / 0.9 - 1), WITHIN, WeightSays.LARGER, WITHIN),
    (1.01, 70.0, 70.7, 0.0, WITHIN, None, WITHIN),
    # It lost less than the person did: no better, but no worse by the tape either.
    (0.96, 80.0, 68.0, 100 * (0.96 / 0.85 - 1), DOWN, WeightSays.FAILS, WITHIN),
]


@pytest.mark.parametrize("example", WORKED)
def test_better_and_worse_hold_also_when_adjusted_for_weight(example: tuple) -> None:
    ratio, then_kg, now_kg, percent, taped, says, direction = example
    found = change(ratio, now_kg, then_kg)
    assert found.by_weight
    assert found.by_weight.adjusted
    assert found.by_weight.adjusted.value == pytest.approx(percent, abs=1e-9)
    assert found.by_weight.weight_percent == pytest.approx(100 * (now_kg / then_kg - 1))
    assert (found.verdict, found.weight_says, found.direction) == (taped, says, direction)


@pytest.mark.parametrize("weights_kg", [(None, 80.0), (73.6, None), (None, None)])
def test_without_a_weight_the_tape_alone_decides_and_says_so(
    weights_kg: tuple[float | None, float | None],
) -> None:
    found = change(0.94, *weights_kg)
    assert found.by_weight == ByWeight()
    assert (found.direction, found.weight_says) == (DOWN, WeightSays.UNKNOWN)
    assert change(1.0, *weights_kg).weight_says is None


def test_with_a_sound_other_limb_weight_has_no_say() -> None:
    found = change_since(scaled(0.94), ARM)
    assert (found.by_weight, found.weight_says, found.direction) == (None, None, DOWN)


def test_the_numbers_of_the_tape_are_never_altered() -> None:
    plain, beside = change_since(scaled(0.94), ARM), change(0.94, 73.6, 80.0)
    assert (beside.change_ml, beside.error_ml, beside.verdict) == (
        plain.change_ml,
        plain.error_ml,
        plain.verdict,
    )
    then, now = limb_volume(ARM), limb_volume(scaled(0.94))
    assert plain.error_ml == pytest.approx(change_error(now, then))


@st.composite
def pairs(draw, *, alike: bool = False):
    """Volumes, their errors and weights, each (now, then); `alike`: both changed by one ratio."""
    ratio = st.floats(0.5, 2)
    by = draw(ratio)
    then_ml, then_kg = draw(st.floats(500, 15_000)), draw(st.floats(30, 200))
    ml = (then_ml * by, then_ml)
    error_ml = tuple(value * draw(st.floats(0.003, 0.05)) for value in ml)
    return ml, error_ml, (then_kg * (by if alike else draw(ratio)), then_kg)


def told(ml, error_ml, weights_kg):
    """(what the tape says, the weight-adjusted change, better or worse)."""
    taped = verdict(ml[0] - ml[1], hypot(*error_ml))
    found = by_weight(ml, error_ml, weights_kg)
    assert found.adjusted
    return taped, found.adjusted, found.direction(taped)


@given(pairs(alike=True))
def test_a_limb_that_changed_as_weight_did_is_never_better_or_worse(pair) -> None:
    _, adjusted, direction = told(*pair)
    assert adjusted.value == pytest.approx(0, abs=1e-9)
    assert direction is WITHIN


@given(pairs())
def test_told_backwards_a_change_turns_its_sign_and_never_keeps_its_verdict(pair) -> None:
    (_, onward, direction), (_, back, turned) = told(*pair), told(*(each[::-1] for each in pair))
    assume(abs(onward.value) > 1e-6)
    # (1 + WAC) (1 + WAC backwards) = 1.
    assert (1 + onward.value / 100) * (1 + back.value / 100) == pytest.approx(1)
    assert (onward.value > 0) is (back.value < 0)
    assert (direction, turned) not in {(UP, UP), (DOWN, DOWN)}


@given(pairs())
def test_weight_only_ever_takes_a_verdict_back(pair) -> None:
    taped, adjusted, direction = told(*pair)
    assert direction is (taped if adjusted.verdict is taped else WITHIN)


def test_the_scale_adds_little_to_the_error_of_the_tape() -> None:
    """An arm taped at 0.82 % and a person of 70 kg: 1.16 % becomes 1.23 %, by hand."""
    found = by_weight((2000, 2000), (16.4, 16.4), (70, 70)).adjusted
    assert found
    scale = SCALE_ERROR_KG / 70
    assert found.error == pytest.approx(100 * (2 * 0.0082**2 + 2 * scale**2) ** 0.5)
    assert found.error == pytest.approx(1.23, abs=0.005)
