"""The appointments of one client, as they are asked for on the telephone."""

from dataclasses import dataclass
from datetime import datetime

from clinic.accounts.models import User
from clinic.clients.models import Client
from clinic.scheduling.selectors.cards import BookingCard, appointments_for, booking_card
from clinic.scheduling.states import HOLDING

# As many as stand on a page without pushing the rest away; a series lists all of its dates.
MOST_COMING, MOST_PAST = 6, 3


@dataclass(frozen=True)
class ClientAppointments:
    """Those still to come by time, and the latest of the others, newest first."""

    coming: tuple[BookingCard, ...]
    past: tuple[BookingCard, ...]
    more_follow: bool


def client_appointments(client: Client, user: User, *, now: datetime) -> ClientAppointments:
    """Two queries. What was cancelled or missed is not to come, whatever its day."""
    rows = appointments_for(user).filter(client=client)
    is_coming = {"status__in": HOLDING, "period__endswith__gt": now}
    coming = [
        booking_card(row) for row in rows.filter(**is_coming).order_by("period")[: MOST_COMING + 1]
    ]
    past = rows.exclude(**is_coming).order_by("-period")[:MOST_PAST]
    return ClientAppointments(
        coming=tuple(coming[:MOST_COMING]),
        past=tuple(booking_card(row) for row in past),
        more_follow=len(coming) > MOST_COMING,
    )
