"""What clients asked about their own record: lists with their due days."""

from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet

from clinic.accounts.models import User
from clinic.accounts.permits import may
from clinic.clients.models import Client
from clinic.clients.record_requests import CopyRequest, CorrectionRequest


@dataclass(frozen=True)
class RequestLine:
    """A request in a list."""

    request: CopyRequest | CorrectionRequest
    is_copy: bool
    is_overdue: bool


def copies_for(user: User) -> QuerySet[CopyRequest]:
    """The copies asked for that this person may see."""
    rows = CopyRequest.objects.select_related("client__referrer", "noted_by", "closed_by")
    return rows if may(user, "record.copy") else rows.none()


def corrections_for(user: User) -> QuerySet[CorrectionRequest]:
    """The corrections asked for that this person may see."""
    rows = CorrectionRequest.objects.select_related("client__referrer", "noted_by", "closed_by")
    return rows if may(user, "record.copy") else rows.none()


def open_requests(user: User, *, today: date) -> list[RequestLine]:
    """What waits for an answer, the first due first. Two queries; none without the permit."""
    copies, corrections = copies_for(user), corrections_for(user)
    return _lines(copies.filter(closed_on=None), corrections.filter(closed_on=None), today)


def requests_of(client: Client, user: User, *, today: date) -> list[RequestLine]:
    """All that one client ever asked, the first due first. Two queries; none without the permit."""
    copies, corrections = copies_for(user), corrections_for(user)
    return _lines(copies.filter(client=client), corrections.filter(client=client), today)


def _lines(
    copies: QuerySet[CopyRequest], corrections: QuerySet[CorrectionRequest], today: date
) -> list[RequestLine]:
    told: list[tuple[CopyRequest | CorrectionRequest, bool]] = [(one, True) for one in copies]
    told += [(one, False) for one in corrections]
    lines = [RequestLine(one, is_copy, one.is_open and one.due_on < today) for one, is_copy in told]
    return sorted(lines, key=lambda line: (line.request.due_on, line.request.pk))
