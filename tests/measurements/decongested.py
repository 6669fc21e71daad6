"""An arm whose girths fall towards a plateau; the girths are invented, the shape is known."""

from collections.abc import Iterable
from datetime import date, timedelta
from math import exp

from clinic.clients.models import Episode
from measurements.models import GirthSession, Protocol
from tests.builders import ARM_SWOLLEN_CM, make_session

SESSION_DAYS = (0, 2, 4, 7, 9, 11, 14, 16, 18, 21)


def girths_on(day: int, *, extra_cm: float = 2.5, rate_per_day: float = 0.2) -> list[float]:
    """The worked example's swollen arm, `extra_cm` wider at first, as a tape reads: to 1 mm."""
    wider_cm = extra_cm * exp(-rate_per_day * day)
    return [round(girth + wider_cm, 1) for girth in ARM_SWOLLEN_CM]


def decongested(
    episode: Episode,
    protocol: Protocol,
    *,
    first_on: date,
    days: Iterable[int] = SESSION_DAYS,
    **shape: float,
) -> list[GirthSession]:
    """One session of both arms on each day of the phase; the first is the baseline."""
    return [
        make_session(
            episode,
            protocol,
            taken_on=first_on + timedelta(days=day),
            is_baseline=number == 0,
            right_cm=girths_on(day, **shape),
        )
        for number, day in enumerate(days)
    ]
