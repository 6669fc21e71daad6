"""The only writer of the access and change record."""

from collections.abc import Collection, Iterable
from typing import Any
from uuid import UUID

import pgtrigger
from django.db.models import Model, Q

from clinic.accounts.models import User
from clinic.audit.models import Change, Entry, act_of_now
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


def forget_values(*, clients: Collection[UUID]) -> int:
    """Erase what the kept changes of these clients say. The chain stays: it rests on digests.

    For the erasure of a record, last in its transaction: what the transaction itself deleted is
    forgotten as well, whosever it was. Returns how many were erased.
    """
    with pgtrigger.ignore("audit.Change:append_only"):
        theirs = Change.objects.filter(Q(client_id__in=clients) | Q(act=act_of_now()))
        return theirs.filter(values__isnull=False).update(values=None, salt=None)
