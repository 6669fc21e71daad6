"""The rest of a client's own copy: what the desk keeps, precautions asked, and what was asked."""

from dataclasses import dataclass
from datetime import date

from clinic.clients.emergency import EmergencyAccess
from clinic.clients.models import Client
from clinic.clients.record_requests import CopyRequest, CorrectionRequest
from clinic.common.vocabulary import Precaution
from clinic.scheduling.models import (
    Appointment,
    Authorisation,
    RecallSnooze,
    ReminderConsent,
    WaitListEntry,
)


@dataclass(frozen=True)
class AskedPart:
    """The precautions asked on a day: which were answered with yes, in words."""

    asked_on: date
    by: str
    count: int
    found: tuple[str, ...]
    note: str


@dataclass(frozen=True)
class DeskPart:
    """What is kept about a client's coming, oldest first."""

    appointments: tuple[Appointment, ...]
    authorisations: tuple[Authorisation, ...]
    waits: tuple[WaitListEntry, ...]
    put_off: tuple[RecallSnooze, ...]
    consents: tuple[ReminderConsent, ...]


@dataclass(frozen=True)
class RequestsPart:
    """What was asked about the record, and when its precautions were opened in an emergency."""

    copies: tuple[CopyRequest, ...]
    corrections: tuple[CorrectionRequest, ...]
    emergencies: tuple[EmergencyAccess, ...]


def desk_part(client: Client) -> DeskPart:
    """Six queries."""
    appointments = client.appointments.select_related("kind", "therapist")
    waits = client.wait_list_entries.select_related("kind", "therapist")
    return DeskPart(
        appointments=tuple(appointments.order_by("period")),
        authorisations=tuple(client.authorisations.order_by("from_on", "pk")),
        waits=tuple(waits.prefetch_related("offers").order_by("joined_at", "pk")),
        put_off=tuple(client.recall_snoozes.order_by("at", "pk")),
        consents=tuple(client.reminder_consents.order_by("agreed_on", "pk")),
    )


def requests_part(client: Client) -> RequestsPart:
    """Three queries."""
    return RequestsPart(
        copies=tuple(client.copy_requests.order_by("asked_on", "pk")),
        corrections=tuple(client.corrections.order_by("asked_on", "pk")),
        emergencies=tuple(
            client.emergency_accesses.select_related("by").order_by("opened_at", "pk")
        ),
    )


def asked_parts(client: Client) -> tuple[AskedPart, ...]:
    """Each time that the precautions were asked. One query."""
    asked = client.precaution_reviews.select_related("asked_by").order_by("asked_on", "pk")
    return tuple(
        AskedPart(
            asked_on=one.asked_on,
            by=str(one.asked_by),
            count=len(one.asked),
            found=tuple(Precaution(found).label for found in one.found),
            note=one.note,
        )
        for one in asked
    )
