"""The set on which the stories play: today, the people of the practice, the clock."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, time

from django.utils import timezone

from clinic.accounts.models import User
from clinic.clients.models import Referrer
from clinic.demo.clock import clock_at, moment_of, working_day


@dataclass(frozen=True)
class Cast:
    """Who acts: staff by sign-in name, referrers by their name in the fixture."""

    staff: dict[str, User]
    referrers: dict[str, Referrer]
    front_desk: User
    lead: User


@dataclass(frozen=True)
class Stage:
    """The cast, and the day that the stories count back from."""

    today: date
    cast: Cast

    def day(self, offset: int) -> date:
        return working_day(self.today, offset)

    @contextmanager
    def on(self, offset: int, at: time = time(9, 0)) -> Iterator[date]:
        """Play an act on its day; never later than now, so that today's acts are past."""
        day = self.day(offset)
        with clock_at(min(moment_of(day, at), timezone.now())):
            yield day


@dataclass(frozen=True)
class Act:
    """One thing that happens in a story; acts of one day happen in the order of `turn`."""

    offset: int
    turn: int
    play: Callable[[], object]
