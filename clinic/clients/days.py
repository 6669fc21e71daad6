"""Which days can be in a client's life. Pure: standard library and errors only."""

from datetime import date

from clinic.clients import errors

# Nobody alive was born earlier; also a constraint in the database. Common practice, no source.
EARLIEST_BIRTH = date(1890, 1, 1)


def check_birth(born_on: date, *, today: date) -> None:
    """Raises BornTooEarly or DayInFuture for a date of birth that cannot be."""
    if born_on < EARLIEST_BIRTH:
        raise errors.BornTooEarly("born_on", EARLIEST_BIRTH)
    check_past("born_on", born_on, today=today)


def check_past(field: str, day: date, *, today: date) -> None:
    """Raises DayInFuture for a day after today."""
    if day > today:
        raise errors.DayInFuture(field, today)


def check_lived(field: str, day: date, *, born_on: date, today: date) -> None:
    """Raises DayInFuture or BeforeBirth for a day outside a client's life so far."""
    check_past(field, day, today=today)
    if day < born_on:
        raise errors.BeforeBirth(field, born_on)
