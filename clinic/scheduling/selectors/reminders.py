"""Whom to remind of a day's appointments, and how they agreed to be reminded."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.conf import settings
from django.db.models import QuerySet

from clinic.accounts.models import User
from clinic.audit.models import Entry
from clinic.clients.models import Client
from clinic.scheduling.models import Appointment, ReminderConsent
from clinic.scheduling.ranges import stored, wall
from clinic.scheduling.selectors.agenda import span_of_days
from clinic.scheduling.selectors.cards import CARD_COLUMNS, appointments_for
from clinic.scheduling.states import MOVABLE
from clinic.scheduling.words import ReminderChannel

SENT = "reminder.sent"


@dataclass(frozen=True, slots=True)
class ReminderLine:
    """One appointment to remind of. Neither kind nor reason of the visit."""

    appointment_id: UUID
    client_id: UUID
    given_name: str
    family_name: str
    phone: str
    email: str
    starts_at: datetime
    minutes: int
    therapist: str
    is_confirmed: bool
    channels: tuple[ReminderChannel, ...]
    sent_at: datetime | None

    @property
    def agrees(self) -> bool:
        return bool(self.channels)

    @property
    def may_be_mailed(self) -> bool:
        """By e-mail only who agreed to it, has an address and was not sent one yet."""
        agreed = ReminderChannel.EMAIL in self.channels
        return agreed and bool(self.email) and self.sent_at is None


def mail_is_set_up() -> bool:
    """Whether the clinic said how e-mail is sent."""
    return bool(settings.EMAIL_HOST)


def reminder_list(user: User, *, on: date) -> list[ReminderLine]:
    """The booked and confirmed appointments of a day, by time. Three queries."""
    whole = span_of_days(on, on)
    rows = list(
        appointments_for(user)
        .only(*CARD_COLUMNS, "client__email")
        .filter(period__overlap=stored(whole), status__in=sorted(MOVABLE))
        .order_by("period", "client")
    )
    agreed, sent = _agreed({row.client_id for row in rows}), _sent(rows)
    return [_line(row, agreed.get(row.client_id, ()), sent.get(row.pk)) for row in rows]


def next_booked_day(user: User, *, after: date) -> date | None:
    """The first day after one on which somebody is to be reminded of; one query."""
    midnight = span_of_days(after, after).ends_at
    coming = appointments_for(user).filter(
        period__startswith__gte=midnight, status__in=sorted(MOVABLE)
    )
    first = coming.order_by("period").first()
    return wall(first.period.lower).date() if first else None


def consents_of(client: Client) -> QuerySet[ReminderConsent]:
    """How the client has agreed to be reminded, withdrawn ones too, latest first."""
    return client.reminder_consents.select_related("by").order_by("-agreed_on", "-pk")


def _agreed(client_ids: Collection[UUID]) -> dict[UUID, list[ReminderChannel]]:
    rows = ReminderConsent.objects.filter(client__in=client_ids, withdrawn_on=None)
    found: dict[UUID, list[ReminderChannel]] = defaultdict(list)
    for client_id, channel in rows.values_list("client_id", "channel"):
        found[client_id].append(ReminderChannel(channel))
    return found


def _sent(rows: Sequence[Appointment]) -> dict[UUID, datetime]:
    """When an e-mail went out for each appointment, from the record of changes."""
    subjects = {f"appointment:{row.pk}": row.pk for row in rows}
    entries = Entry.objects.filter(
        client__in={row.client_id for row in rows}, verb=SENT, subject__in=subjects
    )
    return {subjects[subject]: wall(at) for subject, at in entries.values_list("subject", "at")}


def _line(
    row: Appointment, channels: Sequence[ReminderChannel], sent_at: datetime | None
) -> ReminderLine:
    starts_at = wall(row.period.lower)
    return ReminderLine(
        appointment_id=row.pk,
        client_id=row.client_id,
        given_name=row.client.given_name,
        family_name=row.client.family_name,
        phone=row.client.phone,
        email=row.client.email,
        starts_at=starts_at,
        minutes=int((row.period.upper - row.period.lower).total_seconds() // 60),
        therapist=row.therapist.display_name,
        is_confirmed=row.status == "confirmed",
        channels=tuple(sorted(channels)),
        sent_at=sent_at,
    )
