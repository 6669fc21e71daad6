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
    found: Found = {Client: set(clients)}
    waiting: list[type[Model]] = [Client]
    while waiting:
        parent = waiting.pop()
        for field in references_to(parent):
            fresh = _naming(field, found[parent]) - found.get(field.model, set())
            if fresh:
                found.setdefault(field.model, set()).update(fresh)
                waiting.append(field.model)
    del found[Client]
    return found


def _naming(field: Any, keys: set[Any]) -> set[Any]:
    rows = field.model._base_manager.filter(**{f"{field.name}__in": keys})
    return set(rows.values_list("pk", flat=True))


def references_to(model: type[Model]) -> Iterator[Any]:
    for relation in model._meta.get_fields(include_hidden=True):
        if not relation.auto_created or not (relation.one_to_many or relation.one_to_one):
            continue
        child = relation.related_model
        if child is not Client and child not in NOT_OF_THE_RECORD:
            yield relation.field
