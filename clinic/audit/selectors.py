"""Reads of the access and change record."""

from typing import Any

from django.db.models import QuerySet

from clinic.audit.models import Entry


def history_of(client: Any) -> QuerySet[Entry]:
    """Everything recorded about one client's record, latest first, with who did it."""
    return Entry.objects.filter(client=client).select_related("by")
