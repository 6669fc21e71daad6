"""When a garment is due to be replaced."""

from calendar import monthrange
from datetime import date

# RAL garments must hold their pressure for six months of use: eurocom, quality features of
# medical compression stockings. UK advice is 3 to 6 months with new measuring: a4medicine.com.
USUAL_MONTHS = 6

# Common practice, no source.
EARLIER = "Sooner when the size changes, when it is torn or loose, or when it marks the skin."


def replacement_due_on(issued_on: date, *, months: int = USUAL_MONTHS) -> date:
    """The same day some months later, or the last day of a shorter month. Months above 0."""
    if months < 1:
        raise ValueError(months)
    years, month = divmod(issued_on.month - 1 + months, 12)
    year = issued_on.year + years
    return date(year, month + 1, min(issued_on.day, monthrange(year, month + 1)[1]))
