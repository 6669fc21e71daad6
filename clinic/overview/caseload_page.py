"""One page of the caseload."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from uuid import UUID

from django.core.paginator import Page, Paginator
from django.utils import timezone

from clinic.accounts.models import User
from clinic.overview.caseload import Asked, CaseloadLine
from clinic.overview.caseload_facts import caseload_lines, found_elsewhere
from clinic.overview.caseload_places import chosen_episodes, places
from clinic.overview.concern import Concern
from clinic.overview.sparkline import Sparkline, sparkline
from clinic.scheduling.ranges import wall
from clinic.scheduling.selectors.authorisations import STILL_TO_COME
from clinic.scheduling.selectors.cards import appointments_for
from measurements.selectors.standings import reckoned_standings
from measurements.standing import Standing

PAGE_LENGTH = 25
NO_EPISODE = UUID(int=0)  # asked for where none is found: every page asks as often
MOST_OWED = 3


@dataclass(frozen=True)
class LimbShown:
    """A standing and its trend."""

    told: Standing
    trend: Sparkline | None


@dataclass(frozen=True)
class NextBooking:
    id: UUID
    starts_at: datetime
    kind: str
    therapist: str


@dataclass(frozen=True)
class LineShown:
    """A line of the page: what is due first and how much more, limbs with trends, next booking."""

    line: CaseloadLine
    limbs: tuple[LimbShown, ...]
    booking: NextBooking | None

    @property
    def owed(self) -> tuple[object, ...]:
        return self.line.owed[:MOST_OWED]

    @property
    def owed_more(self) -> int:
        return max(0, len(self.line.owed) - MOST_OWED)


@dataclass(frozen=True)
class CaseloadPage:
    """`counts` are of everything found, `behind` how many lines are sorted by old numbers."""

    page: Page[int]
    lines: tuple[LineShown, ...]
    counts: Mapping[Concern, int]
    behind: int


def caseload(user: User, asked: Asked, *, today: date) -> CaseloadPage:
    """One page of the open episodes asked for, in the order asked for.

    22 statements at most, whatever the number of clients; five more where a standing is behind.
    """
    chosen = chosen_episodes(user, asked)
    elsewhere = found_elsewhere(chosen, today=today)
    found = places(chosen, asked, elsewhere, length=PAGE_LENGTH)
    lines = caseload_lines(chosen.filter(pk__in=found.keys or [NO_EPISODE]), elsewhere)
    return CaseloadPage(
        page=Paginator(range(found.total), PAGE_LENGTH).get_page(asked.page),
        lines=_shown([lines[key] for key in found.keys if key in lines], user),
        counts=found.counts,
        behind=found.behind,
    )


def _shown(lines: Sequence[CaseloadLine], user: User) -> tuple[LineShown, ...]:
    standings, bookings = _standings(lines), _bookings(lines, user)
    return tuple(
        LineShown(
            line=replace(line, standings=own),
            limbs=tuple(LimbShown(each, sparkline(each.points, each.error_ml)) for each in own),
            booking=bookings.get(line.client_id),
        )
        for line, own in zip(lines, standings, strict=True)
    )


def _standings(lines: Sequence[CaseloadLine]) -> list[tuple[Standing, ...]]:
    """From the girths themselves where what is kept is behind them."""
    behind = [line.episode_id for line in lines if line.is_behind]
    told = reckoned_standings(behind) if behind else {}
    return [
        tuple(told[key] for key in sorted(told) if key[0] == line.episode_id)
        if line.is_behind
        else line.standings
        for line in lines
    ]


def _bookings(lines: Sequence[CaseloadLine], user: User) -> dict[UUID, NextBooking]:
    """The next appointment of each client shown. One query."""
    coming = appointments_for(user).filter(
        client__in=[line.client_id for line in lines if line.next_on],
        status__in=STILL_TO_COME,
        period__endswith__gt=timezone.now(),
    )
    return {
        each.client_id: NextBooking(
            each.pk, wall(each.period.lower), each.kind.name, each.therapist.display_name
        )
        for each in coming.order_by("client", "-period")
    }
