"""The only place that rounds and writes units. A value arrives unrounded, in its base unit."""

from decimal import Decimal
from typing import Any

from django import template

register = template.Library()

CM_PER_INCH = 2.54  # exact, international yard and pound agreement 1959
KG_PER_POUND = 0.45359237  # exact, the same agreement

NOT_KNOWN = "\N{EN DASH}"
THIN = "\N{NARROW NO-BREAK SPACE}"
MINUS = "\N{MINUS SIGN}"

Number = float | Decimal | None


def _written(value: float, places: int, *, sign: bool = False) -> str:
    """A number with a real minus sign and thousands separated; a rounded zero has no sign."""
    text = f"{abs(value):,.{places}f}"
    is_zero = not any(digit in text for digit in "123456789")
    if value < 0 and not is_zero:
        return MINUS + text
    return ("+" if sign and not is_zero else "") + text


def _filter(value: Number, unit: str, places: int, *, sign: bool = False) -> str:
    if value is None or value == "":
        return NOT_KNOWN
    return f"{_written(float(value), places, sign=sign)}{THIN}{unit}"


@register.filter
def ml(volume_ml: Number) -> str:
    """1847.9 -> 1,848 mL."""
    return _filter(volume_ml, "mL", 0)


@register.filter
def signed_ml(volume_ml: Number) -> str:
    """369.1 -> +369 mL."""
    return _filter(volume_ml, "mL", 0, sign=True)


@register.filter
def bare_ml(volume_ml: Number) -> str:
    """1847.9 -> 1,848: in a drawing whose title names the unit."""
    return NOT_KNOWN if volume_ml is None else _written(float(volume_ml), 0)


@register.filter
def percent(value_percent: Number) -> str:
    """19.97 -> 20.0 %. Bands are decided before this rounding."""
    return _filter(value_percent, "%", 1)


@register.filter
def signed_percent(value_percent: Number) -> str:
    return _filter(value_percent, "%", 1, sign=True)


@register.filter
def cm(length_cm: Number) -> str:
    return _filter(length_cm, "cm", 1)


@register.filter
def signed_cm(length_cm: Number) -> str:
    return _filter(length_cm, "cm", 1, sign=True)


@register.filter
def girth(girth_cm: Number, shown: str = "cm") -> str:
    """A girth in the unit the practice works in: one place in cm, two in inches."""
    if shown == "inch" and girth_cm is not None:
        return _filter(float(girth_cm) / CM_PER_INCH, "in", 2)
    return cm(girth_cm)


@register.filter
def weight(weight_kg: Number, shown: str = "kg") -> str:
    if shown == "lb" and weight_kg is not None:
        return _filter(float(weight_kg) / KG_PER_POUND, "lb", 0)
    return _filter(weight_kg, "kg", 1)


@register.filter
def level(level_cm: Number) -> str:
    """12.0 -> 12; 37.5 -> 37.5: a tape position without needless zeros."""
    return NOT_KNOWN if level_cm is None else f"{float(level_cm):g}"


@register.filter
def score(value: Number, spec: Any) -> str:
    """A score in its instrument's unit and decimals: 24.3 kg, 120°, 40.9."""
    return _score(value, spec, sign=False)


@register.filter
def signed_score(value: Number, spec: Any) -> str:
    return _score(value, spec, sign=True)


def _score(value: Number, spec: Any, *, sign: bool) -> str:
    if value is None or value == "":
        return NOT_KNOWN
    gap = "" if spec.unit in {"", "°"} else THIN
    return f"{_written(float(value), spec.shown_decimals, sign=sign)}{gap}{spec.unit}"


@register.filter
def in_unit(value: Number, unit: str) -> str:
    """A median of whole numbers: 12 days, 4.5 days of 7, 38 %; a half keeps its half."""
    places = 0 if value is None or float(value).is_integer() else 1
    return _filter(value, unit, places)


@register.filter
def tenths(position: float) -> str:
    """A coordinate of a drawing, to a tenth: quicker than `floatformat`, and never localised."""
    return f"{position:.1f}"
