"""How long a record is kept. Plain dates, no Django.

State law asks for 5 to 10 years after the last visit, and for a minor's record longer, from the day
of majority (https://biologyinsights.com/how-long-do-doctors-offices-keep-medical-records). Papers
for Medicare 7 years (42 CFR 424.516(f)), for Medicare Advantage 10 (42 CFR 422.504(d)), both seen
on a secondary page. The defaults take the longest of these; the clinic sets what its state asks.
"""

from dataclasses import dataclass
from datetime import date

from dateutil.relativedelta import relativedelta

# The longest of the periods above.
DEFAULT_YEARS = 10
# Majority in most states; 19 in Alabama and Nebraska, 21 in Mississippi (from memory, not re-read).
DEFAULT_MAJORITY = 18


@dataclass(frozen=True)
class RetentionRules:
    """The clinic's own periods, in whole years."""

    years_after_last_visit: int = DEFAULT_YEARS
    majority_age: int = DEFAULT_MAJORITY
    years_after_majority: int = DEFAULT_YEARS

    def kept_until(self, *, last_seen_on: date, born_on: date) -> date:
        """The first day on which the record need not be kept any longer."""
        grown = self.majority_age + self.years_after_majority
        return max(
            _years_after(last_seen_on, self.years_after_last_visit), _years_after(born_on, grown)
        )

    def seen_before(self, today: date) -> date:
        """Nobody who was last seen later than this is past their period on `today`."""
        return today - relativedelta(years=self.years_after_last_visit)


def _years_after(day: date, years: int) -> date:
    """The day of that name; 1 March for 29 February where there is none, never a day too early."""
    after = day + relativedelta(years=years)
    return after if after.day == day.day else after + relativedelta(days=1)
