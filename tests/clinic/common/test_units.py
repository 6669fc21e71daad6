"""Rounding and units, the only place where either happens."""

from decimal import Decimal

import pint
import pytest

from clinic.common.templatetags import units

SPACE = "\N{NARROW NO-BREAK SPACE}"
MINUS = "\N{MINUS SIGN}"


def test_a_percentage_is_rounded_to_one_decimal() -> None:
    # Reference worked example arm-4cm-comparison: 19.9708 % prints as 20.0 %.
    assert units.percent(19.9708) == f"20.0{SPACE}%"


def test_a_volume_is_rounded_to_whole_millilitres_with_thousands() -> None:
    assert units.ml(2217.081) == f"2,217{SPACE}mL"


@pytest.mark.parametrize(
    ("value", "written"),
    [(369.063, f"+369{SPACE}mL"), (-18.4, f"{MINUS}18{SPACE}mL"), (-0.3, f"0{SPACE}mL")],
)
def test_a_signed_volume_shows_its_direction_and_never_minus_zero(
    value: float, written: str
) -> None:
    assert units.signed_ml(value) == written


def test_a_missing_value_is_a_dash_and_never_zero() -> None:
    assert {f(None) for f in (units.ml, units.percent, units.cm, units.level)} == {"–"}


def test_inches_and_pounds_agree_with_a_units_library() -> None:
    # pint (BSD) carries the international inch and pound.
    registry = pint.UnitRegistry()
    inches = registry.Quantity(38.4, "cm").to("inch").magnitude
    pounds = registry.Quantity(70.0, "kg").to("pound").magnitude
    assert units.girth(Decimal("38.4"), "inch") == f"{inches:.2f}{SPACE}in"
    assert units.weight(Decimal("70.0"), "lb") == f"{pounds:.0f}{SPACE}lb"


def test_a_tape_position_has_no_needless_zeros() -> None:
    assert (units.level(Decimal("12.0")), units.level(37.5)) == ("12", "37.5")
