"""Conversion against pint, which knows the same legal definitions."""

from decimal import Decimal

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from measurements.limb.other_formulas import disc_volume
from measurements.limb.units import (
    LengthUnit,
    WeightUnit,
    from_centimetres,
    from_kilograms,
    to_centimetres,
    to_kilograms,
)

UNITS = pint.UnitRegistry()
lengths = st.floats(0.01, 1000)


@given(lengths)
def test_inches_and_pounds_convert_as_pint_does(value: float) -> None:
    cm = UNITS.Quantity(value, "inch").to("cm").magnitude
    kg = UNITS.Quantity(value, "pound").to("kg").magnitude
    assert to_centimetres(value, LengthUnit.INCH) == pytest.approx(cm, rel=1e-12)
    assert to_kilograms(value, WeightUnit.POUND) == pytest.approx(kg, rel=1e-12)


@given(lengths)
def test_conversion_there_and_back_returns_the_value(value: float) -> None:
    for unit in LengthUnit:
        assert from_centimetres(to_centimetres(value, unit), unit) == pytest.approx(value)
    for unit in WeightUnit:
        assert from_kilograms(to_kilograms(value, unit), unit) == pytest.approx(value)


def test_a_decimal_stays_an_exact_decimal() -> None:
    """1 in = 2.54 cm, 1 lb = 0.45359237 kg exactly: yard and pound agreement, 1959."""
    assert to_centimetres(Decimal("10.1"), LengthUnit.INCH) == Decimal("25.654")
    assert to_kilograms(Decimal("100"), WeightUnit.POUND) == Decimal("45.359237")
    assert to_centimetres(Decimal("38.4"), LengthUnit.CENTIMETRE) == Decimal("38.4")


def test_a_cubic_centimetre_is_a_millilitre_as_in_pint() -> None:
    """4 cm x (16 cm)^2 / 4 pi = 81.487 mL."""
    slice_ml = (UNITS.Quantity(4, "cm") * UNITS.Quantity(16, "cm") ** 2 / (4 * UNITS.pi)).to("mL")
    assert slice_ml.magnitude == pytest.approx(81.487, abs=0.0005)
    found = disc_volume(girth_cm=16, height_cm=4)
    assert found == pytest.approx(slice_ml.magnitude, rel=1e-12)
