"""The only writer of the access and change record."""

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.db.models import Model

from clinic.accounts.models import User
from clinic.audit.models import Entry


def record(by: User, verb: str, *, client: Any = None, subject: Model | None = None) -> None:
    """Add one entry; inside a service's transaction it stands or falls with the change itself."""
    text = f"{subject._meta.model_name}:{subject.pk}" if subject is not None else ""
    Entry.objects.create(by=by, verb=verb, client=client, subject=text)


def record_for_each(by: User, verb: str, *, clients: Iterable[UUID]) -> int:
    """The same entry for each of many clients, in few statements. Returns how many."""
    entries = (Entry(by=by, verb=verb, client_id=client_id) for client_id in clients)
    return len(Entry.objects.bulk_create(entries, batch_size=1000))
