"""Units of length and weight: exact conversion, and the one check that a length is a length."""

from decimal import Decimal
from math import isfinite
from typing import NewType, TypeVar

from clinic.common.vocabulary import Word
from measurements.limb.errors import LengthNotPositive

Centimetres = NewType("Centimetres", float)
Millilitres = NewType("Millilitres", float)
Kilograms = NewType("Kilograms", float)

Number = TypeVar("Number", float, Decimal)

# Exact by definition: international yard and pound agreement, 1959.
CM_PER_INCH = Decimal("2.54")
KG_PER_POUND = Decimal("0.45359237")


class LengthUnit(Word):
    CENTIMETRE = "cm", "centimetres"
    INCH = "inch", "inches"


class WeightUnit(Word):
    KILOGRAM = "kg", "kilograms"
    POUND = "lb", "pounds"


# How many base units (cm, kg) one of each holds.
FACTORS: dict[Word, Decimal] = {
    LengthUnit.CENTIMETRE: Decimal(1),
    LengthUnit.INCH: CM_PER_INCH,
    WeightUnit.KILOGRAM: Decimal(1),
    WeightUnit.POUND: KG_PER_POUND,
}


def _factor(value: Number, unit: Word) -> Number:
    """The factor of a unit in the number type of the value, so that a Decimal stays exact."""
    return type(value)(FACTORS[unit]) if isinstance(value, Decimal) else float(FACTORS[unit])


def to_centimetres(value: Number, unit: LengthUnit) -> Number:
    """A length in cm, unrounded; a Decimal stays a Decimal. Source: yard and pound, 1959."""
    return value * _factor(value, unit)


def from_centimetres(value: Number, unit: LengthUnit) -> Number:
    """A length given in cm, in the wished unit, unrounded. Source: yard and pound, 1959."""
    return value / _factor(value, unit)


def to_kilograms(value: Number, unit: WeightUnit) -> Number:
    """A weight in kg, unrounded; a Decimal stays a Decimal. Source: yard and pound, 1959."""
    return value * _factor(value, unit)


def from_kilograms(value: Number, unit: WeightUnit) -> Number:
    """A weight given in kg, in the wished unit, unrounded. Source: yard and pound, 1959."""
    return value / _factor(value, unit)


def require_positive(**lengths: float) -> None:
    """Raise LengthNotPositive, with its name, for the first length that is not above 0."""
    for name, value in lengths.items():
        if not (isfinite(value) and value > 0):
            raise LengthNotPositive(name, value)
