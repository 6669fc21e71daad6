"""The only writer of the access and change record."""

from collections.abc import Iterable, Mapping
from typing import Any
from uuid import UUID

import pgtrigger
from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction
from django.db.models import Model, Q

from clinic.audit.models import Change, Entry, act_of_now
from clinic.audit.origin import origin_of_now


def record(
    by: AbstractBaseUser, verb: str, *, client: Any = None, subject: Model | None = None
) -> None:
    """Add one entry; inside a service's transaction it stands or falls with the change itself."""
    text = f"{subject._meta.model_name}:{subject.pk}" if subject is not None else ""
    Entry.objects.create(by=by, verb=verb, client=client, subject=text, **_from_where())


def record_for_each(by: AbstractBaseUser, verb: str, *, clients: Iterable[UUID]) -> int:
    """The same entry for each of many clients, in few statements. Returns how many."""
    origin = _from_where()
    entries = (Entry(by=by, verb=verb, client_id=client_id, **origin) for client_id in clients)
    return len(Entry.objects.bulk_create(entries, batch_size=1000))


@transaction.atomic
def forget_values(*, clients: Iterable[UUID], rows: Mapping[str, Iterable[Any]]) -> int:
    """Blank what changes said about erased clients, and what this transaction noted of nobody.

    `rows` are keys of erased rows by table, for changes that name no client. That something was
    changed, when and by whom stays, and so does the chain, which rests on the digests. The salts go
    as well, so that no value can be guessed. Returns how many.
    """
    about = Q(client_id__in=list(clients)) | Q(client_id=None, act=act_of_now())
    for table, keys in rows.items():
        about |= Q(table=table, row__in=[str(key) for key in keys])
    with pgtrigger.ignore("audit.Change:append_only"):
        return Change.objects.filter(about, values__isnull=False).update(values=None, salt=None)


def _from_where() -> dict[str, str]:
    origin = origin_of_now()
    return {"came_from": origin.address, "session_mark": origin.session_mark}
