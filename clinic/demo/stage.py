"""The set on which the stories play: today, the people of the practice, the clock."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, time

from django.utils import timezone

from clinic.accounts.models import User
from clinic.clients.models import Referrer
from clinic.demo.clock import clock_at, moment_of, nth_working_day, working_day


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

    def days_ago(self, offset: int) -> int:
        """The offset in calendar days before today: as it is told."""
        return offset

    @contextmanager
    def on(self, offset: int, at: time = time(9, 0)) -> Iterator[date]:
        """Play an act on its day; never later than now, so that today's acts are past."""
        day = self.day(offset)
        with clock_at(min(moment_of(day, at), timezone.now())):
            yield day


@dataclass(frozen=True)
class WorkingStage(Stage):
    """Counts working days, as the desk does; 0 is today itself, on a weekend too.

    For stories whose days have to be those of their appointments.
    """

    def day(self, offset: int) -> date:
        return nth_working_day(self.today, offset) if offset else self.today

    def days_ago(self, offset: int) -> int:
        return (self.day(offset) - self.today).days


@dataclass(frozen=True)
class Act:
    """One thing that happens in a story; acts of one day happen in the order of `turn`."""

    offset: int
    turn: int
    play: Callable[[], object]


@dataclass(frozen=True)
class Staged:
    """An act on the stage that counts its days."""

    act: Act
    stage: Stage

    @property
    def order(self) -> tuple[date, int, int]:
        return self.stage.day(self.act.offset), self.act.offset, self.act.turn

    def play(self) -> None:
        with self.stage.on(self.act.offset):
            self.act.play()
