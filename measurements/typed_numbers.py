"""Numbers as people type them. Pure: standard library, the limb package and errors only."""

import re
from decimal import Decimal

from measurements.errors import LengthTooLarge, NumberNotReadable, WeightImpossible
from measurements.limb.units import LengthUnit, WeightUnit, to_centimetres, to_kilograms

# Digits with at most one decimal mark, a point or a comma; no exponent, no thousands mark.
PLAIN_NUMBER = re.compile(r"[+\-\N{MINUS SIGN}]?\d{1,6}(?:[.,]\d{0,6})?|[.,]\d{1,6}", re.ASCII)

# Far above the widest leg; a slip of the keyboard rather than a girth. Common practice, no source.
LONGEST_CM = Decimal(300)

# As the database: models.GirthSession, constraint weight_of_a_person.
LIGHTEST_KG, HEAVIEST_KG = Decimal(2), Decimal(400)

# A girth is kept to a tenth of a millimetre, so that inches convert without loss.
GIRTH_STEP_CM = Decimal("0.01")
WEIGHT_STEP_KG = Decimal("0.1")


def number_typed(text: str) -> Decimal:
    """The number in a text: "38.4", "38,4" or " 38 ". Raises NumberNotReadable."""
    plain = text.strip()
    if not PLAIN_NUMBER.fullmatch(plain):
        raise NumberNotReadable(plain)
    return Decimal(plain.replace(",", ".").replace("\N{MINUS SIGN}", "-"))


def length_typed(text: str, unit: LengthUnit = LengthUnit.CENTIMETRE) -> Decimal:
    """A typed length in cm, to a tenth of a millimetre; zero and less pass, the caller judges.

    Raises NumberNotReadable, LengthTooLarge.
    """
    length_cm = to_centimetres(number_typed(text), unit).quantize(GIRTH_STEP_CM)
    if length_cm > LONGEST_CM:
        raise LengthTooLarge(length_cm, LONGEST_CM)
    return length_cm


def weight_typed(text: str, unit: WeightUnit = WeightUnit.KILOGRAM) -> Decimal:
    """A typed weight in kg, to 100 g. Raises NumberNotReadable."""
    return to_kilograms(number_typed(text), unit).quantize(WEIGHT_STEP_KG)


def check_weight(weight_kg: Decimal) -> None:
    """Raises WeightImpossible for a weight in kg that no person has."""
    if not LIGHTEST_KG <= weight_kg <= HEAVIEST_KG:
        raise WeightImpossible(weight_kg)
