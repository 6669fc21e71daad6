"""Reads of the access and change record."""

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet

from clinic.audit.models import Change, Entry


def entries() -> QuerySet[Entry]:
    """The whole record, latest first, with who did it and with whose record."""
    return Entry.objects.select_related("by", "client")


def history_of(client: Any) -> QuerySet[Entry]:
    """Everything recorded about one client's record and those merged into it, latest first."""
    its_own = Q(client=client) | Q(client__merged_into=client)
    return Entry.objects.filter(its_own).select_related("by")


def changes_in(acts: Iterable[UUID | None], *, client: Any) -> QuerySet[Change]:
    """What was changed in one client's record in these transactions, in its order."""
    known = [act for act in acts if act is not None]
    return Change.objects.filter(client_id__in=_records(client), act__in=known).order_by("pk")


def changes_of(entries: Iterable[Entry]) -> QuerySet[Change]:
    """What was changed in the transactions of these entries, of whichever record. One query."""
    return Change.objects.filter(act__in={entry.act for entry in entries} - {None}).order_by("pk")


def entries_beside(changes: Iterable[Change]) -> QuerySet[Entry]:
    """All entries of the transactions that made these changes, in their order. One query."""
    return Entry.objects.filter(act__in={change.act for change in changes}).order_by("pk")


def changes_by_nobody(client: Any) -> QuerySet[Change]:
    """Changes of one client's record that no entry goes with: made past the application."""
    told = Entry.objects.filter(act=OuterRef("act"))
    return Change.objects.filter(~Exists(told), client_id__in=_records(client))


def _records(client: Any) -> list[UUID]:
    """The client's record and those merged into it. One query."""
    merged = type(client)._default_manager.filter(merged_into=client)
    return [client.pk, *merged.values_list("pk", flat=True)]
