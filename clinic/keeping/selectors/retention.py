"""Which records are past their period of keeping."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from dateutil.relativedelta import relativedelta
from django.core.paginator import Page, Paginator
from django.db.models import Exists, F, Max, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Greatest, TruncDate
from django.utils import timezone

from clinic.clients.models import Client
from clinic.clients.record_requests import CopyRequest, CorrectionRequest, RecordRequest
from clinic.clients.selectors import standing_clients
from clinic.keeping.models import STANDING, WAITING, Erasure, Hold, RetentionRule
from clinic.keeping.retention import RetentionRules
from clinic.scheduling.models import HELD, Appointment
from clinic.scheduling.states import Status
from clinic.visits.models import VisitNote
from measurements.models import GirthSession

PAGE_LENGTH = 50
# The client was there.
ATTENDED = (Status.ARRIVED, Status.IN_SESSION, Status.DONE)


@dataclass(frozen=True)
class PastLine:
    """A record whose period of keeping is over."""

    client: Client
    last_seen_on: date
    kept_until: date
    is_asked: bool  # an erasure waits for its second person
    is_held: bool


def retention_rule() -> RetentionRule:
    """The clinic's own periods; the defaults until it sets them."""
    return RetentionRule.objects.first() or RetentionRule()


def rules() -> RetentionRules:
    rule = retention_rule()
    return RetentionRules(rule.years_after_last_visit, rule.majority_age, rule.years_after_majority)


def past_retention(number: str, *, today: date) -> Page[Any]:
    """A page of the records past their period, longest past first. Three queries."""
    kept = rules()
    page = Paginator(_past(kept, today), PAGE_LENGTH).get_page(number)
    page.object_list = [
        PastLine(
            client=client,
            last_seen_on=client.last_seen_on,
            kept_until=kept.kept_until(last_seen_on=client.last_seen_on, born_on=client.born_on),
            is_asked=client.is_asked,
            is_held=client.is_held,
        )
        for client in page.object_list
    ]
    return page


def count_past_retention(*, today: date) -> int:
    return _past(rules(), today).count()


def kept_until(client: Client) -> date:
    """The first day on which this record need not be kept any longer. Two queries."""
    seen = _with_last_seen(Client.objects.filter(pk=client.pk)).get()
    return rules().kept_until(last_seen_on=seen.last_seen_on, born_on=client.born_on)


def bookings_to_come(**whose: Any) -> QuerySet[Appointment]:
    """What stands in the calendar for some clients from now on."""
    return Appointment.objects.filter(HELD, period__endswith__gt=timezone.now(), **whose)


def holds() -> QuerySet[Hold]:
    """Every hold, those that stand first, with whose record it is and who placed and lifted it."""
    joined = Hold.objects.select_related("client", "placed_by", "lifted_by")
    return joined.order_by(F("lifted_at").desc(nulls_first=True), "-placed_at", "-pk")


def holds_of(clients: Iterable[UUID]) -> QuerySet[Hold]:
    """Why these clients' records must not be erased, then why they once had to stay."""
    return holds().filter(client__in=clients)


def requests_waiting(clients: list[UUID]) -> list[RecordRequest]:
    """What these clients asked about their own record and have no answer to. Two queries."""
    copies = CopyRequest.objects.filter(client__in=clients, closed_on=None)
    return [*copies, *CorrectionRequest.objects.filter(client__in=clients, closed_on=None)]


def _past(kept: RetentionRules, today: date) -> QuerySet[Any]:
    """The same rule as `RetentionRules.kept_until`, asked of the database; a test compares."""
    grown = today - relativedelta(years=kept.majority_age + kept.years_after_majority)
    booked = bookings_to_come(client=OuterRef("pk"))
    waiting = Erasure.objects.filter(WAITING, client=OuterRef("pk"))
    of_it = Q(client=OuterRef("pk")) | Q(client__merged_into=OuterRef("pk"))
    held = Hold.objects.filter(STANDING, of_it)
    past = _with_last_seen(standing_clients()).filter(
        last_seen_on__lte=kept.seen_before(today), born_on__lte=grown
    )
    return (
        past.exclude(Exists(booked))
        .annotate(is_asked=Exists(waiting), is_held=Exists(held))
        .order_by("last_seen_on", "pk")
    )


def _with_last_seen(clients: QuerySet[Client]) -> QuerySet[Any]:
    """Adds the last day on which the clinic saw the client; at least the day of registering."""
    noted = VisitNote.objects.filter(episode__client=OuterRef("pk"))
    taped = GirthSession.objects.filter(episode__client=OuterRef("pk"))
    attended = Appointment.objects.filter(client=OuterRef("pk"), status__in=ATTENDED)
    return clients.annotate(
        last_seen_on=Greatest(
            TruncDate("registered_at"),
            _latest(noted, "episode__client", "visited_on"),
            _latest(taped, "episode__client", "taken_on"),
            TruncDate(_latest(attended, "client", "period__startswith")),
        )
    )


def _latest(rows: QuerySet[Any], client: str, day: str) -> Subquery:
    grouped = rows.order_by().values(client).annotate(latest=Max(F(day)))
    return Subquery(grouped.values("latest"))
