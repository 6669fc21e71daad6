"""One page of the caseload."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from uuid import UUID

from django.core.paginator import Page, Paginator
from django.utils import timezone

from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.overview.caseload import Asked, CaseloadLine, fits, in_order
from clinic.overview.caseload_facts import caseload_lines
from clinic.overview.concern import Concern
from clinic.overview.sparkline import Sparkline, sparkline
from clinic.scheduling.ranges import wall
from clinic.scheduling.selectors.authorisations import STILL_TO_COME
from clinic.scheduling.selectors.cards import appointments_for
from measurements.selectors.standings import kept_standings, reckoned_standings
from measurements.standing import Standing

PAGE_LENGTH = 25
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

    page: Page[CaseloadLine]
    lines: tuple[LineShown, ...]
    counts: Mapping[Concern, int]
    behind: int


def caseload(user: User, asked: Asked, *, today: date) -> CaseloadPage:
    """One page of the open episodes asked for, in the order asked for.

    19 queries at most, whatever the number of clients; five more where a standing is behind.
    """
    lines = caseload_lines(user, asked, today=today)
    found = in_order((line for line in lines if fits(line, asked, today=today)), asked)
    page = Paginator(found, PAGE_LENGTH).get_page(asked.page)
    counts = {each: 0 for each in Concern}
    for line in found:
        counts[line.concern] += 1
    return CaseloadPage(
        page=page,
        lines=_shown(page.object_list, user),
        counts=counts,
        behind=sum(line.is_behind for line in found),
    )


def _shown(lines: Sequence[CaseloadLine], user: User) -> tuple[LineShown, ...]:
    standings, bookings = _standings(lines), _bookings(lines, user)
    return tuple(
        LineShown(
            line=replace(line, standings=standings.get(line.episode_id, ())),
            limbs=tuple(
                LimbShown(each, sparkline(each.points, each.error_ml))
                for each in standings.get(line.episode_id, ())
            ),
            booking=bookings.get(line.client_id),
        )
        for line in lines
    )


def _standings(lines: Sequence[CaseloadLine]) -> dict[UUID, tuple[Standing, ...]]:
    """With their points; from the girths themselves where what is kept is behind them."""
    behind = [line.episode_id for line in lines if line.is_behind]
    keys = Episode.objects.filter(pk__in=[line.episode_id for line in lines]).values("pk")
    kept = kept_standings(keys, with_points=True)
    found = {key: tuple(each) for key, each in kept.items()}
    if behind:
        told = reckoned_standings(Episode.objects.filter(pk__in=behind))
        for key in behind:
            found[key] = tuple(told[each] for each in sorted(told) if each[0] == key)
    return found


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
