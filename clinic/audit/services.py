"""The only writer of the access and change record."""

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.db.models import Model

from clinic.accounts.models import User
from clinic.audit.models import Entry
from clinic.audit.origin import origin_of_now


def record(by: User, verb: str, *, client: Any = None, subject: Model | None = None) -> None:
    """Add one entry; inside a service's transaction it stands or falls with the change itself."""
    text = f"{subject._meta.model_name}:{subject.pk}" if subject is not None else ""
    Entry.objects.create(by=by, verb=verb, client=client, subject=text, **_from_where())


def record_for_each(by: User, verb: str, *, clients: Iterable[UUID]) -> int:
    """The same entry for each of many clients, in few statements. Returns how many."""
    origin = _from_where()
    entries = (Entry(by=by, verb=verb, client_id=client_id, **origin) for client_id in clients)
    return len(Entry.objects.bulk_create(entries, batch_size=1000))


def _from_where() -> dict[str, str]:
    origin = origin_of_now()
    return {"came_from": origin.address, "session_mark": origin.session_mark}
