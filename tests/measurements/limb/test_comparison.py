"""Two limbs and two dates: sections, signs, verdicts."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.common.vocabulary import Side
from measurements.limb.comparison import (
    Judged,
    Verdict,
    change_since,
    compare_limbs,
    excess_change,
    girth_differences,
    relative_change_since,
    shared_section,
    verdict,
)
from measurements.limb.errors import (
    LengthNotPositive,
    MixedMethod,
    MixedProtocol,
    MixedSides,
    NoSharedSection,
)
from measurements.limb.ratios import excess_percent, relative_volume_change, weight_adjusted_change
from measurements.limb.thresholds import RULES, Criterion
from measurements.limb.volume import Section, limb_volume
from tests.measurements.limb.limbs import every, limb, worked_limb

ARM = worked_limb("arm-4cm-affected", Side.RIGHT)
OTHER = worked_limb("arm-4cm-unaffected", Side.LEFT)

girth_pairs = st.lists(st.tuples(st.floats(10, 80), st.floats(10, 80)), min_size=2, max_size=15)


@given(girth_pairs)
def test_swapping_the_limbs_negates_every_difference(pairs: list[tuple[float, float]]) -> None:
    levels = every(4, len(pairs))
    right = limb(levels, [pair[0] for pair in pairs], Side.RIGHT)
    left = limb(levels, [pair[1] for pair in pairs], Side.LEFT)
    one, two = compare_limbs(right, left), compare_limbs(left, right)
    assert two.excess_ml == pytest.approx(-one.excess_ml)
    assert two.excess_error_ml == pytest.approx(one.excess_error_ml)
    assert [each.difference_cm for each in two.girth_differences] == pytest.approx(
        [-each.difference_cm for each in one.girth_differences]
    )
    assert two.beyond_error is one.beyond_error


def test_limbs_are_compared_over_what_both_were_taped() -> None:
    """The other arm starts at 4 cm and ends at 38 cm, between the stations of the first."""
    short = limb([4, 12, 20, 28, 38], [17, 21, 25, 27, 29.5], Side.LEFT)
    found = compare_limbs(ARM, short)
    assert found.section == Section(4, 38)
    assert found.section_is_shorter
    assert found.affected.ml == limb_volume(ARM, section=Section(4, 38)).ml
    assert [each.level_cm for each in found.girth_differences] == [4, 12, 20, 28]


def test_the_full_length_is_not_called_shorter() -> None:
    assert not compare_limbs(ARM, OTHER).section_is_shorter


def test_stretches_without_overlap_are_not_compared() -> None:
    with pytest.raises(NoSharedSection) as caught:
        shared_section(limb([0, 10], [16, 20]), limb([10, 20], [20, 25]))
    assert caught.value.taped_cm == ((0, 10), (10, 20))


def test_levels_counted_from_different_marks_are_not_compared() -> None:
    marked = replace(ARM, zero_mark="ulnar styloid"), replace(OTHER, zero_mark="wrist crease")
    with pytest.raises(MixedProtocol) as caught:
        compare_limbs(*marked)
    assert caught.value.zero_marks == ("ulnar styloid", "wrist crease")


def test_a_limb_is_not_compared_with_itself_nor_followed_across_sides() -> None:
    with pytest.raises(MixedSides):
        compare_limbs(ARM, ARM)
    with pytest.raises(MixedSides):
        change_since(ARM, OTHER)


def test_excesses_over_different_sections_are_not_subtracted() -> None:
    whole, part = compare_limbs(ARM, OTHER), compare_limbs(ARM, OTHER, section=Section(0, 36))
    for change in (excess_change, relative_change_since):
        with pytest.raises(MixedMethod):
            change(whole, part)


def test_a_comparison_over_an_empty_span_of_levels_has_no_girth_difference() -> None:
    found = compare_limbs(ARM, limb([2, 38], [17, 30], Side.LEFT))
    assert found.girth_differences == ()
    assert found.largest_girth_difference is None


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (19.6, Verdict.WITHIN_ERROR),
        (-19.6, Verdict.WITHIN_ERROR),
        (19.61, Verdict.BEYOND_ERROR_UP),
        (-19.61, Verdict.BEYOND_ERROR_DOWN),
        (0.0, Verdict.WITHIN_ERROR),
    ],
)
def test_only_more_than_1_96_errors_is_beyond_error(value: float, expected: Verdict) -> None:
    assert verdict(value, 10) is expected
    assert Judged(value, 10).beyond_error is expected.is_beyond_error


def test_the_same_limb_taped_twice_has_not_changed() -> None:
    found = change_since(ARM, ARM)
    assert found.change_ml == 0
    assert found.verdict is Verdict.WITHIN_ERROR


def test_a_change_is_judged_by_the_error_of_two_sessions() -> None:
    """MDC95 = 1.96 sqrt(2) SEM for two sessions of one size: DOI 10.1089/lrb.2022.0032."""
    found = change_since(ARM, ARM)
    assert found.mdc95_ml == pytest.approx(1.96 * 2**0.5 * limb_volume(ARM).error_ml)
    swollen = limb(ARM.levels_cm, [girth * 1.03 for girth in ARM.girths_cm], Side.RIGHT)
    assert change_since(swollen, ARM).verdict is Verdict.BEYOND_ERROR_UP
    assert change_since(ARM, swollen).verdict is Verdict.BEYOND_ERROR_DOWN


def test_two_centimetres_are_two_centimetres_in_binary_too() -> None:
    """18.4 - 16.4 and the like miss 2 by binary noise; the criterion reads "2 cm"."""
    for tenth in range(100, 600):
        high, low = (tenth + 20) / 10, tenth / 10
        pair = limb([0, 4], [high, high], Side.RIGHT), limb([0, 4], [low, low], Side.LEFT)
        for each in girth_differences(*pair):
            assert RULES[Criterion.GIRTH_2CM].is_met_by(each.difference_cm)


@pytest.mark.parametrize(
    "volumes",
    [
        {"a1_ml": 0, "u1_ml": 1, "a2_ml": 1, "u2_ml": 1},
        {"a1_ml": 1, "u1_ml": 1, "a2_ml": 1, "u2_ml": -1},
    ],
)
def test_volumes_that_are_not_above_zero_give_no_ratio(volumes: dict) -> None:
    with pytest.raises(LengthNotPositive):
        relative_volume_change(**volumes)
    with pytest.raises(LengthNotPositive):
        excess_percent(affected_ml=100, other_ml=0)
    with pytest.raises(LengthNotPositive):
        weight_adjusted_change(a1_ml=1, w1_kg=0, a2_ml=1, w2_kg=1)


def test_a_change_of_the_excess_keeps_its_percent_and_says_when_its_section_is_shorter() -> None:
    was, is_now = (
        compare_limbs(ARM, OTHER),
        compare_limbs(ARM, limb(OTHER.levels_cm, ARM.girths_cm)),
    )
    found = excess_change(is_now, was)
    assert found.percent == pytest.approx(-100)
    assert not found.section_is_shorter
    narrow = [compare_limbs(ARM, OTHER, section=Section(0, 36)) for _ in range(2)]
    assert excess_change(*narrow).section_is_shorter


def test_a_change_from_no_excess_has_no_percentage() -> None:
    alike = compare_limbs(ARM, limb(OTHER.levels_cm, ARM.girths_cm))
    assert alike.excess_ml == 0
    assert excess_change(compare_limbs(ARM, OTHER), alike).percent is None
