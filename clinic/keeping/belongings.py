"""Everything that hangs on a client, found by following the models' own references.

Whatever app comes later is found as well, so nothing is forgotten in an export or an erasure.
"""

from collections.abc import Iterable, Iterator
from typing import Any
from uuid import UUID

from django.db.models import Model

from clinic.audit.models import Entry
from clinic.clients.models import Client
from clinic.keeping.models import Erasure, Merge

# Who did what stays when its content goes: these name a client and are not part of the record.
NOT_OF_THE_RECORD = (Entry, Erasure, Merge)

Found = dict[type[Model], set[Any]]


def direct_references() -> list[tuple[type[Model], Any]]:
    """(model, field) of everything that names a client itself, but for the access record."""
    return [(field.model, field) for field in references_to(Client)]


def family(client: Client) -> list[UUID]:
    """The record and all that were merged into it: what one person's record consists of."""
    return [client.pk, *client.merged_from.values_list("pk", flat=True)]


def belongings(clients: Iterable[UUID]) -> Found:
    """Keys of all rows that hang on these clients, by model; the clients are not among them."""
    return hanging_on({Client: set(clients)})


def hanging_on(roots: Found, *, is_locked: bool = False) -> Found:
    """Keys of all rows that hang on these, by model; these are not among them.

    Locked rows stay so to the end of the transaction; others may still hang rows on them.
    """
    found: Found = {}
    waiting = list(roots.items())
    while waiting:
        parent, keys = waiting.pop()
        for field in references_to(parent):
            kind = field.model
            known = found.get(kind, set()) | roots.get(kind, set())
            if fresh := _naming(field, keys, is_locked=is_locked) - known:
                found.setdefault(kind, set()).update(fresh)
                waiting.append((kind, fresh))
    return found


def _naming(field: Any, keys: set[Any], *, is_locked: bool) -> set[Any]:
    rows = field.model._base_manager.filter(**{f"{field.name}__in": keys})
    if is_locked:
        rows = rows.select_for_update(no_key=True)
    return set(rows.values_list("pk", flat=True))


def references_to(model: type[Model]) -> Iterator[Any]:
    for relation in model._meta.get_fields(include_hidden=True):
        if not relation.auto_created or not (relation.one_to_many or relation.one_to_one):
            continue
        child = relation.related_model
        if child is not Client and child not in NOT_OF_THE_RECORD:
            yield relation.field
