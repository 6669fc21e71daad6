"""Appointments as anybody of the practice may see them."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet
from django.utils import timezone

from clinic.accounts import permits
from clinic.accounts.models import User
from clinic.clients.models import Client
from clinic.scheduling.models import Appointment, StatusChange
from clinic.scheduling.ranges import span_of, wall
from clinic.scheduling.states import CANCELLED, FREED, MOVABLE, NEXT, TOLD_ON_THE_DAY, Status
from clinic.scheduling.strips import clock


@dataclass(frozen=True, slots=True)
class BookingCard:
    """One appointment. No clinical field: anybody of the practice may see it.

    `starts_at` and `ends_at` are the practice's wall time.
    """

    id: UUID
    client_id: UUID
    client_name: str
    short_name: str
    record_number: str
    phone: str
    kind: str
    mark: str
    tone: str
    therapist_id: int
    therapist: str
    room_id: int | None
    room: str
    starts_at: datetime
    ends_at: datetime
    minutes: int
    status: Status
    desk_note: str
    cancel_reason: str
    series_id: UUID | None
    version: int
    is_ahead: bool  # on a day after today

    @property
    def begins(self) -> str:
        return clock(self.starts_at)

    @property
    def ends(self) -> str:
        return clock(self.ends_at)

    @property
    def is_freed(self) -> bool:
        return self.status in FREED

    @property
    def is_movable(self) -> bool:
        return self.status in MOVABLE

    @property
    def next_statuses(self) -> list[Status]:
        """States it may be put into by one press; cancelling asks for a reason first."""
        barred = CANCELLED | TOLD_ON_THE_DAY if self.is_ahead else CANCELLED
        return [one for one in NEXT[self.status] if one not in barred]

    @property
    def may_be_cancelled(self) -> bool:
        return any(one in CANCELLED for one in NEXT[self.status])


# Only these columns are read for a card.
CARD_COLUMNS = [
    "client__given_name",
    "client__family_name",
    "client__record_number",
    "client__phone",
    "kind__name",
    "kind__mark",
    "kind__tone",
    "therapist__display_name",
    "room__name",
    "period",
    "status",
    "desk_note",
    "cancel_reason",
    "series_id",
    "version",
]


def appointments_for(user: User) -> QuerySet[Appointment]:
    """The appointments this person may see; what is not in it is a 404."""
    if not permits.may(user, "schedule.see"):
        return Appointment.objects.none()
    return with_card(Appointment.objects.all())


def with_card(appointments: QuerySet[Appointment]) -> QuerySet[Appointment]:
    """Joins what a card shows, and nothing else of the client."""
    return appointments.select_related("client", "kind", "therapist", "room").only(*CARD_COLUMNS)


def booking_card(appointment: Appointment) -> BookingCard:
    """No query if the appointment came from `appointments_for`."""
    client, kind, span = appointment.client, appointment.kind, span_of(appointment.period)
    return BookingCard(
        id=appointment.pk,
        client_id=client.pk,
        client_name=f"{client.given_name} {client.family_name}",
        short_name=short_name(client),
        record_number=client.record_number,
        phone=client.phone,
        kind=kind.name,
        mark=kind.mark,
        tone=kind.tone,
        therapist_id=appointment.therapist_id,
        therapist=appointment.therapist.display_name,
        room_id=appointment.room_id,
        room=appointment.room.name if appointment.room else "",
        starts_at=wall(span.starts_at),
        ends_at=wall(span.ends_at),
        minutes=span.minutes,
        status=Status(appointment.status),
        desk_note=appointment.desk_note,
        cancel_reason=appointment.get_cancel_reason_display() if appointment.cancel_reason else "",
        series_id=appointment.series_id,
        version=appointment.version,
        is_ahead=wall(span.starts_at).date() > timezone.localdate(),
    )


def short_name(client: Client) -> str:
    """Family name and an initial, for narrow places."""
    return f"{client.family_name} {client.given_name[:1]}."


def status_history(appointment: Appointment) -> QuerySet[StatusChange]:
    """Every state the appointment has been in, first to last. One query."""
    return appointment.status_changes.select_related("by")


def series_cards(appointment: Appointment, user: User) -> list[BookingCard]:
    """All appointments of the same series, by time. One query, none if it is in no series."""
    if appointment.series_id is None:
        return []
    rows = appointments_for(user).filter(series=appointment.series_id).order_by("period")
    return [booking_card(row) for row in rows]
