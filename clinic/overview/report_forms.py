"""Which days a practice report covers."""

from datetime import date
from typing import Any

from clinic.clients.forms.pieces import DayField
from clinic.common.forms import PlainForm
from clinic.overview.report_period import Period

# Days a report must cover at least, so that two of them do not differ by a few days' people;
# common practice, no source. The shortest month has as many.
FEWEST_DAYS = 28
MOST_DAYS = 5 * 366
# Room on either side for the period before, and for what was due from years before that.
YEARS = range(1900, 2200)


class PeriodForm(PlainForm):
    """First and last day, both included."""

    from_on = DayField(label="From")
    to_on = DayField(label="To, that day included")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if {"from_on", "to_on"} <= cleaned.keys():
            self._check(cleaned["from_on"], cleaned["to_on"])
        return cleaned

    def _check(self, from_on: date, to_on: date) -> None:
        days = (to_on - from_on).days + 1
        for name, day in (("from_on", from_on), ("to_on", to_on)):
            if day.year not in YEARS:
                self.add_error(name, f"Give a day from {YEARS[0]} to {YEARS[-1]}.")
        if days < 1:
            self.add_error("to_on", "The last day lies before the first. Give a later one.")
        elif days < FEWEST_DAYS:
            self.add_error(
                "to_on",
                f"These are {days} days. A report covers at least {FEWEST_DAYS}, so that it does"
                " not tell of single people.",
            )
        elif days > MOST_DAYS:
            self.add_error("to_on", "A report covers five years at most. Give an earlier day.")

    def period(self) -> Period:
        return Period(self.cleaned_data["from_on"], self.cleaned_data["to_on"])
