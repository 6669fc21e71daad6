"""The stretch of days a practice report covers, and the one before it. Pure, with dateutil."""

from dataclasses import dataclass
from datetime import date, timedelta

from dateutil.relativedelta import relativedelta

from clinic.common.vocabulary import Word

ONE_DAY = timedelta(days=1)


class PeriodKind(Word):
    """How a period lies in the calendar."""

    MONTH = "month", "month"
    QUARTER = "quarter", "quarter"
    YEAR = "year", "year"
    FREE = "free", "free dates"


# Whole months in each; free dates have none.
MONTHS = {PeriodKind.MONTH: 1, PeriodKind.QUARTER: 3, PeriodKind.YEAR: 12}


@dataclass(frozen=True)
class Period:
    """Days from the first to the last, both included."""

    from_on: date
    to_on: date

    @property
    def kind(self) -> PeriodKind:
        """Whole calendar month, quarter or year, or free dates."""
        named = (period_of(kind, self.from_on) for kind in MONTHS)
        found = (kind for kind, period in zip(MONTHS, named, strict=True) if period == self)
        return next(found, PeriodKind.FREE)

    def holds(self, day: date) -> bool:
        return self.from_on <= day <= self.to_on

    @property
    def days(self) -> int:
        return (self.to_on - self.from_on).days + 1

    @property
    def previous(self) -> "Period":
        """The calendar period before, or as many days as this one has."""
        last_on = self.from_on - ONE_DAY
        if self.kind is PeriodKind.FREE:
            return Period(self.from_on - timedelta(days=self.days), last_on)
        return period_of(self.kind, last_on)

    @property
    def following(self) -> "Period":
        first_on = self.to_on + ONE_DAY
        if self.kind is PeriodKind.FREE:
            return Period(first_on, self.to_on + timedelta(days=self.days))
        return period_of(self.kind, first_on)

    @property
    def name(self) -> str:
        """October 2026; July to September 2026; 2026; 3 May to 9 June 2026."""
        first, last = self.from_on, self.to_on
        if self.kind is PeriodKind.YEAR:
            return str(first.year)
        if self.kind is PeriodKind.MONTH:
            return f"{first:%B %Y}"
        if self.kind is PeriodKind.QUARTER:
            return f"{first:%B} to {last:%B %Y}"
        year = "" if first.year == last.year else f" {first.year}"
        return f"{first.day} {first:%B}{year} to {last.day} {last:%B %Y}"


def period_of(kind: PeriodKind, day: date) -> Period:
    """The calendar month, quarter or year that holds a day. Raises KeyError for free dates."""
    months = MONTHS[kind]
    first_on = date(day.year, (day.month - 1) // months * months + 1, 1)
    return Period(first_on, first_on + relativedelta(months=months) - ONE_DAY)


def last_whole(kind: PeriodKind, today: date) -> Period:
    """The latest calendar period that is over."""
    return period_of(kind, period_of(kind, today).from_on - ONE_DAY)
