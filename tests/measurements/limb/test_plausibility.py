"""Questions about girths: asked of slips, not of ordinary bodies, and never a refusal."""

import pytest

from clinic.common.vocabulary import Limb, Sex, Side
from measurements.limb.girth import LimbGirths
from measurements.limb.plausibility import FLAT_CM, QuestionKind, questions, sides_question
from measurements.limb.usual_girths import (
    LOWER_OVER_THIN,
    THICK_END,
    THIN_END,
    UPPER_OVER_LOWER,
    Range,
)
from tests.measurements.limb.limbs import every, limb, published, worked_limb

ARM = worked_limb("arm-4cm-unaffected")
SWOLLEN = worked_limb("arm-4cm-affected")
PERCENTILES = published("girth_percentiles.json")
SEXES = {Sex.MALE: "male", Sex.FEMALE: "female", Sex.NOT_SAID: "all"}


def changed(girths: LimbGirths, level_cm: float, girth_cm: float) -> LimbGirths:
    pairs = dict(girths) | {level_cm: girth_cm}
    return limb(pairs, list(pairs.values()), girths.side)


def kinds_at(found: tuple, level_cm: float) -> set[QuestionKind]:
    return {each.kind for each in found if each.level_cm == level_cm}


@pytest.mark.parametrize(
    ("table", "sites"),
    [
        (THIN_END, {Limb.ARM: "wrist_min", Limb.LEG: "ankle_min"}),
        (THICK_END, {Limb.ARM: "upper_arm_flexed_biceps", Limb.LEG: "thigh_gluteal_fold"}),
    ],
)
@pytest.mark.parametrize("limb_kind", Limb)
@pytest.mark.parametrize("sex", Sex)
def test_usual_girths_are_the_published_percentiles(
    table: dict, sites: dict, limb_kind: Limb, sex: Sex
) -> None:
    """Heinz et al., Journal of Statistics Education 11(2), 2003: 0.5 and 99.5 %."""
    site = PERCENTILES["sites"][sites[limb_kind]]["by_sex"][SEXES[sex]]
    low, *_, high = site["percentiles"]
    assert table[limb_kind][sex] == Range(low, high)


def test_usual_ratios_are_the_published_percentiles() -> None:
    """The same data: 0.5 and 99.5 % of the ratios of neighbouring girths."""
    ratios = PERCENTILES["ratios_percentiles_0.5_50_99.5"]
    for name, found in {
        "forearm_extended_max/wrist_min": LOWER_OVER_THIN[Limb.ARM],
        "calf_max/ankle_min": LOWER_OVER_THIN[Limb.LEG],
        "upper_arm_flexed_biceps/forearm_extended_max": UPPER_OVER_LOWER[Limb.ARM],
        "thigh_gluteal_fold/calf_max": UPPER_OVER_LOWER[Limb.LEG],
    }.items():
        low, _, high = ratios[name]
        assert found == Range(low, high)


@pytest.mark.parametrize("case_id", ["arm-4cm-affected", "arm-4cm-unaffected", "arm-8cm-affected"])
def test_an_ordinary_arm_raises_no_question(case_id: str) -> None:
    assert questions(Limb.ARM, worked_limb(case_id)) == ()


def test_an_ordinary_leg_raises_no_question() -> None:
    girths = worked_limb("leg-4cm-affected").girths_cm
    assert questions(Limb.LEG, limb(every(4, 18, start_cm=10), girths)) == ()


@pytest.mark.parametrize(
    ("limb_kind", "girth_cm", "is_asked"),
    [
        (Limb.ARM, 9.99, True),
        (Limb.ARM, 10, False),
        (Limb.ARM, 80, False),
        (Limb.ARM, 80.1, True),
        (Limb.LEG, 11.9, True),
        (Limb.LEG, 12, False),
        (Limb.LEG, 150, False),
        (Limb.LEG, 150.1, True),
    ],
)
def test_girths_outside_10_to_80_or_12_to_150_are_hard_to_believe(
    limb_kind: Limb, girth_cm: float, is_asked: bool
) -> None:
    found = questions(limb_kind, limb([20, 24], [girth_cm, girth_cm]))
    asked = [each for each in found if each.kind is QuestionKind.HARD_TO_BELIEVE]
    assert bool(asked) is is_asked
    assert all(each.value == girth_cm for each in asked)


@pytest.mark.parametrize("slip_cm", [2.34, 23.4 * 10, 43.2])
def test_a_slipped_digit_is_asked_about_at_its_level(slip_cm: float) -> None:
    found = questions(Limb.ARM, changed(ARM, 16, slip_cm))
    assert kinds_at(found, 16)
    assert all(each.side is Side.LEFT and each.reason for each in found)


@pytest.mark.parametrize(("upper_cm", "is_asked"), [(27.99, False), (28.0, True), (35.0, True)])
def test_close_neighbours_forty_percent_apart_are_asked_about(
    upper_cm: float, is_asked: bool
) -> None:
    found = questions(Limb.ARM, limb([8, 12], [20, upper_cm]))
    assert (QuestionKind.NEIGHBOUR_JUMP in kinds_at(found, 12)) is is_asked


def test_stations_ten_centimetres_apart_may_hold_a_whole_forearm_between_them() -> None:
    """Forearm over wrist, 99.5 %: 1.818."""
    for upper_cm, is_asked in ((30.9, False), (31.0, True)):
        found = questions(Limb.ARM, limb([0, 10], [17, upper_cm]))
        assert (QuestionKind.NEIGHBOUR_JUMP in kinds_at(found, 10)) is is_asked


def test_a_thick_wrist_is_unusual_for_a_woman_and_not_for_a_man() -> None:
    """Wrist, 99.5 %: women 17.74, men 19.58 cm."""
    asked = {sex: kinds_at(questions(Limb.ARM, SWOLLEN, sex=sex), 0) for sex in Sex}
    assert asked[Sex.FEMALE] == {QuestionKind.UNUSUAL_GIRTH}
    assert asked[Sex.MALE] == set()


def test_an_unusual_girth_is_not_asked_about_again_at_every_session() -> None:
    again = questions(Limb.ARM, SWOLLEN, sex=Sex.FEMALE, previous=changed(SWOLLEN, 0, 18.0))
    assert again == ()


def test_an_unusual_shape_is_asked_about_once() -> None:
    odd = limb(every(4, 11), [13.5] + [30.0] * 10)
    assert {each.kind for each in questions(Limb.ARM, odd)} >= {QuestionKind.UNUSUAL_RATIO}
    again = {each.kind for each in questions(Limb.ARM, odd, previous=odd)}
    assert QuestionKind.UNUSUAL_RATIO not in again


@pytest.mark.parametrize(("now_cm", "is_asked"), [(22.99, False), (23.0, True), (17.0, True)])
def test_fifteen_percent_since_the_last_session_is_asked_about(
    now_cm: float, is_asked: bool
) -> None:
    last, now = limb([8, 12], [20, 20]), limb([8, 12], [now_cm, now_cm])
    found = questions(Limb.ARM, now, previous=last)
    assert (QuestionKind.SESSION_JUMP in kinds_at(found, 8)) is is_asked


def test_a_jump_of_two_centimetres_between_flat_neighbours_is_asked_about() -> None:
    assert kinds_at(questions(Limb.ARM, changed(ARM, 28, 28.6), previous=ARM), 28) == {
        QuestionKind.LONE_JUMP
    }
    assert not questions(Limb.ARM, changed(ARM, 28, 28.4), previous=ARM)


def test_a_rise_of_the_whole_limb_is_no_slip() -> None:
    risen = limb(ARM.levels_cm, [girth + 2.1 for girth in ARM.girths_cm])
    kinds = {each.kind for each in questions(Limb.ARM, risen, previous=ARM)}
    assert QuestionKind.LONE_JUMP not in kinds


def test_a_level_that_alone_differs_from_the_other_limb_is_asked_about_at_a_first_session() -> None:
    other = limb(ARM.levels_cm, ARM.girths_cm, Side.RIGHT)
    slip = changed(ARM, 28, 28.8)
    assert kinds_at(questions(Limb.ARM, slip, other=other), 28) == {QuestionKind.LONE_DIFFERENCE}
    assert not questions(Limb.ARM, ARM, other=other)
    assert not questions(Limb.ARM, SWOLLEN, other=other)


def test_expected_ranges_hold_what_was_expected_and_not_the_value() -> None:
    found = questions(Limb.ARM, changed(ARM, 16, 43.2), previous=ARM, sex=Sex.FEMALE)
    assert found
    for each in found:
        assert each.expected.low < each.expected.high
        assert not each.expected.holds(each.value)


def test_a_girth_that_is_hard_to_believe_is_not_also_called_unusual() -> None:
    assert QuestionKind.UNUSUAL_GIRTH not in kinds_at(questions(Limb.ARM, changed(ARM, 16, 90)), 16)


def test_with_a_last_session_the_other_limb_is_not_asked_about() -> None:
    other = limb(ARM.levels_cm, ARM.girths_cm, Side.RIGHT)
    known = changed(ARM, 28, 28.8)
    assert questions(Limb.ARM, known, previous=known, other=other) == ()


def thinner(by_cm: float) -> LimbGirths:
    """The arm of the worked example as a right one, each girth less by so much."""
    return limb(ARM.levels_cm, [girth - by_cm for girth in ARM.girths_cm], Side.RIGHT)


def test_a_swollen_limb_that_is_thinner_at_every_level_makes_one_ask_for_left_and_right() -> None:
    """The worked example typed under the wrong sides; common practice, no source."""
    asked = sides_question(Limb.ARM, limb(ARM.levels_cm, ARM.girths_cm, Side.RIGHT), SWOLLEN)
    assert asked is not None
    assert (asked.kind, asked.side) == (QuestionKind.SIDES_EXCHANGED, Side.RIGHT)
    largest = max(dict(SWOLLEN)[level] - girth for level, girth in ARM)
    assert dict(SWOLLEN)[asked.level_cm] - asked.value == largest
    assert asked.expected.low == dict(SWOLLEN)[asked.level_cm]


def test_nobody_is_asked_for_left_and_right_where_the_swollen_limb_is_the_thicker_one() -> None:
    right = limb(ARM.levels_cm, ARM.girths_cm, Side.RIGHT)
    assert sides_question(Limb.ARM, SWOLLEN, right) is None


@pytest.mark.parametrize(("by_cm", "is_asked"), [(FLAT_CM - 0.01, False), (FLAT_CM + 0.01, True)])
def test_less_than_two_tapings_differ_is_no_exchange_of_sides(by_cm: float, is_asked: bool) -> None:
    assert (sides_question(Limb.ARM, thinner(by_cm), ARM) is not None) is is_asked


def test_one_level_at_which_the_swollen_limb_is_thicker_settles_the_sides() -> None:
    mixed = changed(thinner(2), 16, dict(ARM)[16] + 0.1)
    assert sides_question(Limb.ARM, mixed, ARM) is None


def test_sides_are_asked_about_once_and_not_from_two_levels() -> None:
    before = (thinner(2), ARM)
    assert sides_question(Limb.ARM, thinner(2), ARM, previous=before) is None
    was_thicker = (limb(ARM.levels_cm, [g + 1 for g in ARM.girths_cm], Side.RIGHT), ARM)
    assert sides_question(Limb.ARM, thinner(2), ARM, previous=was_thicker) is not None
    short = limb([0, 4], [15, 16], Side.RIGHT)
    assert sides_question(Limb.ARM, short, limb([0, 4], [17, 18])) is None
