"""Reads of the access and change record."""

from typing import Any

from django.db.models import Q, QuerySet

from clinic.audit.models import Entry


def history_of(client: Any) -> QuerySet[Entry]:
    """Everything recorded about one client's record and those merged into it, latest first."""
    its_own = Q(client=client) | Q(client__merged_into=client)
    return Entry.objects.filter(its_own).select_related("by")
