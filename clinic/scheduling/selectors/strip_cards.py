"""The appointments of some days as the strips of the calendar need them: little, and quickly."""

from datetime import UTC, date, datetime
from functools import lru_cache
from typing import NamedTuple
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import QuerySet

from clinic.accounts.models import User
from clinic.scheduling.models import Appointment
from clinic.scheduling.ranges import ENDS_S, STARTS_S
from clinic.scheduling.selectors.agenda import appointments_in
from clinic.scheduling.selectors.cards import BookingCard, appointments_for, booking_card
from clinic.scheduling.spans import Span
from clinic.scheduling.states import FREED, HOLDING, MOVABLE, Status
from clinic.scheduling.strips import clock


class StripCard(NamedTuple):
    """One booked cell. No clinical field; a tuple, because a week has hundreds of them."""

    id: UUID
    family_name: str
    given_name: str
    kind_id: int
    therapist_id: int
    room_id: int | None
    status: str
    version: int
    span: Span
    on: date
    begins: str
    ends: str

    @property
    def short_name(self) -> str:
        return f"{self.family_name} {self.given_name[:1]}."

    @property
    def label(self) -> str:
        return Status(self.status).label

    @property
    def is_movable(self) -> bool:
        return self.status in MOVABLE


COLUMNS = [
    "pk",
    "client__family_name",
    "client__given_name",
    "kind_id",
    "therapist_id",
    "room_id",
    "status",
    "version",
]


def strip_cards(span: Span, zone: ZoneInfo, **only: int | None) -> list[StripCard]:
    """Appointments that hold their time, by start. One query, no models."""
    held = appointments_in(span).filter(status__in=sorted(HOLDING), **only)
    rows = held.order_by("period").values_list(*COLUMNS, STARTS_S, ENDS_S)
    return [_card(row, zone) for row in rows]


def _card(row: tuple, zone: ZoneInfo) -> StripCard:  # type: ignore[type-arg]
    *plain, starts_s, ends_s = row
    starts_at, on, begins = _told(starts_s, zone)
    ends_at, _, ends = _told(ends_s, zone)
    return StripCard(*plain, Span(starts_at, ends_at), on, begins, ends)


@lru_cache(maxsize=4096)  # eight therapists begin at the same few times of a week
def _told(seconds: int, zone: ZoneInfo) -> tuple[datetime, date, str]:
    """A moment of so many seconds since 1970: in UTC, and its day and clock in the zone."""
    local = datetime.fromtimestamp(seconds, zone)
    return datetime.fromtimestamp(seconds, UTC), local.date(), clock(local)


def freed_cards(user: User, span: Span, **only: int | None) -> list[BookingCard]:
    """Appointments that gave their time back. One query."""
    freed: QuerySet[Appointment] = appointments_for(user).filter(
        pk__in=appointments_in(span).filter(status__in=sorted(FREED), **only).values("pk")
    )
    return [booking_card(row) for row in freed.order_by("period")]
