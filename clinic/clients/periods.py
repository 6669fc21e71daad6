"""By when a client's request about the own record is to be answered. Pure."""

from datetime import date, timedelta

# 45 CFR 164.524(b)(2), as another page quotes it, itself from memory: a copy within 30 days of the
# request; local rules may ask for less.
COPY_DAYS = 30
# 45 CFR 164.526(b)(2): an answer to a request for a correction within 60 days.
CORRECTION_DAYS = 60


def copy_due_on(asked_on: date) -> date:
    return asked_on + timedelta(days=COPY_DAYS)


def correction_due_on(asked_on: date) -> date:
    return asked_on + timedelta(days=CORRECTION_DAYS)
