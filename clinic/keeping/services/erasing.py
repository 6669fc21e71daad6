"""Erases a record's content: one person asks, another confirms. The only way by which what was
signed or sent is ever removed.

What stays: the record number with who erased it when and why, and the access record, whose lines
say who looked at or changed something and never what it said.
"""

from collections import Counter
from datetime import date
from uuid import UUID

import pgtrigger
from django.db import transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Client
from clinic.clients.services import lock_record
from clinic.common.vocabulary import Sex
from clinic.keeping import errors
from clinic.keeping.belongings import Found, family, hanging_on
from clinic.keeping.models import STANDING, WAITING, Erasure, ErasureGround
from clinic.keeping.selectors.retention import (
    bookings_to_come,
    holds_of,
    kept_until,
    requests_waiting,
)
from clinic.keeping.words import kind_of

# What a blanked record carries where the database wants a value.
BLANK = {
    "given_name": "Record",
    "family_name": "erased",
    "born_on": date(1900, 1, 1),
    "sex": Sex.NOT_SAID,
    "phone": "",
    "email": "",
    "street": "",
    "town": "",
    "referrer": None,
    "agrees_to_letters": False,
    "deactivated_reason": "Erased.",
}


@transaction.atomic
def ask_erasure(*, client: Client, ground: ErasureGround, reason: str, by: User) -> Erasure:
    """Ask that everything of a client be erased; nothing happens until another person confirms.

    Raises RecordGone, AskedAlready, StillHeld, StillBooked, StillAsked, and StillKept where the
    ground is that the period of keeping is over and it is not.
    """
    client = lock_record(client=client)
    if Erasure.objects.filter(WAITING, client=client).exists():
        raise errors.AskedAlready
    _check_may_go(client, ground)
    erasure = Erasure.objects.create(
        client=client,
        record_number=client.record_number,
        ground=ground,
        reason=reason,
        asked_by=by,
    )
    audit.record(by, "erasure.asked", client=client, subject=erasure)
    return erasure


@transaction.atomic
def confirm_erasure(*, erasure: Erasure, by: User) -> Erasure:
    """Erase, for good; all that could stand in the way is looked at once more.

    Raises NotOpen, SamePerson, RecordGone, StillHeld, StillBooked, StillAsked, StillKept.
    """
    erasure = _locked_open(erasure)
    if by.pk == erasure.asked_by_id:
        raise errors.SamePerson
    client = lock_record(client=erasure.client)
    _check_may_go(client, ErasureGround(erasure.ground))
    erasure.removed = _remove_all(family(client))
    erasure.confirmed_at, erasure.confirmed_by = timezone.now(), by
    erasure.save(update_fields=["removed", "confirmed_at", "confirmed_by"])
    audit.record(by, "erasure.confirmed", client=client, subject=erasure)
    return erasure


@transaction.atomic
def withdraw_erasure(*, erasure: Erasure, by: User) -> Erasure:
    """Take back what was asked; the record stays as it is. Raises NotOpen."""
    erasure = _locked_open(erasure)
    erasure.withdrawn_at, erasure.withdrawn_by = timezone.now(), by
    erasure.save(update_fields=["withdrawn_at", "withdrawn_by"])
    audit.record(by, "erasure.withdrawn", client=erasure.client, subject=erasure)
    return erasure


def _locked_open(erasure: Erasure) -> Erasure:
    stored = Erasure.objects.select_for_update().get(pk=erasure.pk)
    if not stored.is_open:
        raise errors.NotOpen
    return stored


def _check_may_go(client: Client, ground: ErasureGround) -> None:
    records = family(client)
    if hold := holds_of(records).filter(STANDING).first():
        raise errors.StillHeld(hold.reason)
    if coming := bookings_to_come(client__in=records).count():
        raise errors.StillBooked(coming)
    if waiting := requests_waiting(records):
        raise errors.StillAsked(waiting)
    if ground is ErasureGround.RETENTION and (until := kept_until(client)) > timezone.localdate():
        raise errors.StillKept(until)


def _remove_all(clients: list[UUID]) -> dict[str, int]:
    """Delete all that hangs on these clients and blank what is left of them.

    References are checked when the transaction ends: should something still refer to a row that
    went, all of it fails rather than half of it be done.
    """
    # Inside, a transaction of its own: what the database refuses is told as what it was.
    with pgtrigger.ignore(), transaction.atomic():
        found = _delete_all(clients)
        erased = Client.objects.filter(pk__in=clients)
        erased.update(erased_at=timezone.now(), deactivated_at=timezone.now(), **BLANK)
    rows = {model._meta.db_table: keys for model, keys in found.items()}
    audit.forget_values(clients=clients, rows=rows)
    removed: Counter[str] = Counter()
    for model, keys in found.items():
        removed[kind_of(model)] += len(keys)
    return dict(removed)


def _delete_all(clients: list[UUID]) -> Found:
    """Delete what hangs on these clients, and what somebody hung on it in this very moment.

    All is locked before anything goes, so that nobody who holds a row of it waits for one that
    went. A row hung on one that went is there to be found by now, or is refused.
    """
    roots: Found = {Client: set(clients)}
    deleted: Found = {}
    while fresh := hanging_on(roots | deleted, is_locked=True):
        for model, keys in fresh.items():
            rows = model._base_manager.filter(pk__in=keys)
            rows._raw_delete(rows.db)
            deleted.setdefault(model, set()).update(keys)
    return deleted
