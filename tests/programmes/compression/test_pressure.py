"""Sub-bandage pressure against the published formula, worked by hand and by pint."""

from math import inf, nan, pi

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from programmes.compression.errors import NotAboveZero
from programmes.compression.pressure import (
    FORMULA_CONSTANT,
    Bandage,
    Concern,
    Grade,
    bandage_pressure,
    grade,
    gradient,
    pressure_at,
)

# P = 4620 N T / (C W), S. Thomas, World Wide Wounds, 2002, revised 2003 (inputs and limits read;
# the constant from memory, not re-read). No worked example with all four inputs was found in the
# literature: these rows were computed from the formula outside this project, to two decimals.
# Layers, kgf, girth in cm, width in cm, mmHg.
COMPUTED_BY_HAND = [
    (1, 0.5, 25, 10, 9.24),
    (2, 0.5, 25, 10, 18.48),
    (4, 0.5, 25, 10, 36.96),
    (2, 0.5, 35, 10, 13.20),
    (2, 0.5, 22, 10, 21.00),
    (4, 0.6, 24, 10, 46.20),
    (2, 0.4, 18, 8, 25.67),
    (2, 0.3, 17, 6, 27.18),
    (4, 0.5, 60, 12, 12.83),
]


@pytest.mark.parametrize(("layers", "kgf", "girth", "width", "mmhg"), COMPUTED_BY_HAND)
def test_pressure_follows_the_formula(
    layers: int, kgf: float, girth: float, width: float, mmhg: float
) -> None:
    found = bandage_pressure(girth_cm=girth, width_cm=width, tension_kgf=kgf, layers=layers)
    assert found == pytest.approx(mmhg, abs=0.005)


def test_the_constant_is_laplace_in_the_units_of_the_bandage() -> None:
    """P = T / (r w) with r = C / 2 pi, worked in SI units by pint; 4620 is 4621.7 rounded."""
    units = pint.UnitRegistry()
    pull, girth, width = 1 * units.kilogram_force, 1 * units.centimetre, 1 * units.centimetre
    pressure = (pull / (girth / (2 * pi) * width)).to(units.mmHg).magnitude
    assert pressure == pytest.approx(4621.7, abs=0.1)
    assert pytest.approx(pressure, rel=5e-4) == FORMULA_CONSTANT


GIRTHS, WIDTHS = st.floats(5, 120), st.floats(2, 30)
PULLS, LAYERS = st.floats(0.01, 5), st.integers(1, 8)


@given(GIRTHS, WIDTHS, PULLS, LAYERS)
def test_twice_the_layers_or_pull_is_twice_the_pressure_and_twice_the_girth_is_half(
    girth: float, width: float, pull: float, layers: int
) -> None:
    once = bandage_pressure(girth_cm=girth, width_cm=width, tension_kgf=pull, layers=layers)

    def again(**changed: float) -> float:
        said = {"girth_cm": girth, "width_cm": width, "tension_kgf": pull, "layers": layers}
        return bandage_pressure(**said | changed)  # type: ignore[arg-type]

    assert again(layers=2 * layers) == pytest.approx(2 * once)
    assert again(tension_kgf=2 * pull) == pytest.approx(2 * once)
    assert again(girth_cm=2 * girth) == pytest.approx(once / 2)
    assert again(width_cm=2 * width) == pytest.approx(once / 2)


@given(st.lists(st.tuples(WIDTHS, PULLS, LAYERS), min_size=1, max_size=6), GIRTHS)
def test_bandages_over_one_another_add_up(
    wound: list[tuple[float, float, int]], girth: float
) -> None:
    bandages = [Bandage("b", width, pull, layers) for width, pull, layers in wound]
    alone = [pressure_at(0, girth, [each]) for each in bandages]
    assert pressure_at(0, girth, bandages) == pytest.approx(sum(alone))


@pytest.mark.parametrize("name", ["girth_cm", "width_cm", "tension_kgf", "layers"])
@pytest.mark.parametrize("value", [0, -1, nan, inf])
def test_nothing_but_numbers_above_zero_is_taken(name: str, value: float) -> None:
    said = {"girth_cm": 25, "width_cm": 10, "tension_kgf": 0.5, "layers": 2}
    with pytest.raises(NotAboveZero) as refused:
        bandage_pressure(**said | {name: value})
    assert refused.value.name == name


# International compression consensus 2008: mild < 20, moderate 20-40, strong 40-60, very strong
# > 60 mmHg; from memory, not re-read.
@pytest.mark.parametrize(
    ("mmhg", "named"),
    [
        (0.1, Grade.MILD),
        (19.99, Grade.MILD),
        (20, Grade.MODERATE),
        (39.99, Grade.MODERATE),
        (40, Grade.STRONG),
        (60, Grade.STRONG),
        (60.01, Grade.VERY_STRONG),
    ],
)
def test_grades_follow_the_consensus(mmhg: float, named: Grade) -> None:
    assert grade(mmhg) is named


# Up the limb

EVEN = [Bandage("short stretch", 10, 0.5, 2)]


def test_on_a_limb_that_widens_even_bandaging_falls_going_up() -> None:
    found = gradient([(0, 22), (10, 25), (20, 35)], EVEN)
    assert [each.pressure_mmhg for each in found.stations] == [
        pytest.approx(21.00),
        pytest.approx(18.48),
        pytest.approx(13.20),
    ]
    assert found.is_graduated
    assert found.highest_mmhg == pytest.approx(21.00)


def test_any_rise_going_up_is_named_at_the_station_above() -> None:
    found = gradient([(20, 22), (0, 22), (10, 25)], EVEN)
    assert [each.level_cm for each in found.stations] == [0, 10, 20]
    assert [each.level_cm for each in found.having(Concern.RISES)] == [20]
    assert not found.is_graduated


def test_equal_pressure_is_no_rise() -> None:
    assert gradient([(0, 25), (10, 25)], EVEN).is_graduated


@given(
    st.lists(
        st.tuples(st.floats(0, 100), GIRTHS), min_size=2, max_size=12, unique_by=lambda p: p[0]
    )
)
def test_a_rise_is_found_exactly_where_an_evenly_bandaged_limb_narrows(
    girths: list[tuple[float, float]],
) -> None:
    found = gradient(girths, EVEN)
    narrows = [
        above
        for (_, below), (above, girth) in zip(sorted(girths), sorted(girths)[1:], strict=False)
        if FORMULA_CONSTANT * 2 * 0.5 / (girth * 10) > FORMULA_CONSTANT * 2 * 0.5 / (below * 10)
    ]
    assert [each.level_cm for each in found.having(Concern.RISES)] == narrows


def test_above_60_mmhg_and_under_15_cm_are_named() -> None:
    found = gradient([(0, 14.9), (10, 15)], [Bandage("strong", 8, 1, 2)])
    assert found.stations[0].concerns == (Concern.HIGH, Concern.SMALL_GIRTH)
    assert found.stations[1].concerns == (Concern.HIGH,)


def test_exactly_60_mmhg_is_not_above_it() -> None:
    found = gradient([(0, 77)], [Bandage("exact", 1, 1, 1)])
    assert found.stations[0].pressure_mmhg == 60
    assert found.stations[0].concerns == ()


def test_a_bandage_presses_only_where_it_reaches() -> None:
    low = Bandage("narrow", 6, 0.3, 2, to_cm=10)
    high = Bandage("wide", 10, 0.5, 2, from_cm=10)
    assert pressure_at(0, 25, [low, high]) == pressure_at(0, 25, [low])
    assert pressure_at(10, 25, [low, high]) == pytest.approx(
        bandage_pressure(girth_cm=25, width_cm=6, tension_kgf=0.3, layers=2)
        + bandage_pressure(girth_cm=25, width_cm=10, tension_kgf=0.5, layers=2)
    )


def test_without_a_bandage_there_is_no_pressure_rather_than_zero() -> None:
    found = gradient([(0, 20), (10, 22)], [Bandage("low", 8, 0.4, 2, to_cm=5)])
    assert found.stations[1].pressure_mmhg is None
    assert found.stations[1].grade is None
    assert found.is_graduated


def test_a_bare_place_between_bandaged_ones_is_named() -> None:
    ends = [Bandage("low", 8, 0.4, 2, to_cm=0), Bandage("high", 8, 0.4, 2, from_cm=20)]
    found = gradient([(0, 20), (10, 22), (20, 24), (30, 26)], ends)
    assert [each.level_cm for each in found.having(Concern.BARE)] == [10]


def test_nothing_bandaged_is_not_called_graduated() -> None:
    nothing = gradient([(0, 20), (10, 22)], [])
    assert not nothing.is_graduated
    assert nothing.highest_mmhg is None
