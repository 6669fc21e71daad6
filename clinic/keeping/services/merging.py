"""Merges two records of one person. It cannot be undone: where a row came from is not kept."""

from collections import Counter
from collections.abc import Collection
from contextlib import AbstractContextManager, nullcontext
from typing import Any

import pgtrigger
from django.db import IntegrityError, transaction
from django.db.models import Model
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.errors import RecordGone
from clinic.clients.models import Client, PrecautionFound
from clinic.keeping import errors
from clinic.keeping.belongings import direct_references
from clinic.keeping.models import WAITING, Erasure, Merge
from clinic.keeping.selectors.merging import DETAILS, overlapping, twin_keys
from clinic.keeping.words import kind_of
from clinic.scheduling.models import ReminderConsent

TWICE = "Found on both records when they were merged."


@transaction.atomic
def merge_clients(*, kept: Client, other: Client, taking: Collection[str], by: User) -> Merge:
    """Hang everything of `other` on `kept`, and leave `other` as a pointer to it.

    `taking` names the details (of `DETAILS`) that `kept` takes over. What was signed or sent is not
    touched: notes, plans and letters hang on episodes, and only the episode changes its client.
    Raises SameRecord, RecordGone, BookingsOverlap, AskedAlready (an erasure waits).
    """
    kept, other = _locked(kept, other)
    if overlaps := overlapping(kept, other):
        raise errors.BookingsOverlap(overlaps)
    _clear_doubled_precautions(kept, other, by)
    _end_withdrawn_consents(kept, other)
    moved = _moved(kept, other)
    taken = [name for name in DETAILS if name in taking]
    _take_details(kept, other, taken)
    _make_pointer(kept, other)
    audit.record(by, "client.merged", client=kept, subject=other)
    audit.record(by, "client.merged", client=other, subject=kept)
    return Merge.objects.create(
        kept=kept, other=other, by=by, moved=dict(moved), fields_taken=taken
    )


def _locked(kept: Client, other: Client) -> tuple[Client, Client]:
    """Both rows, locked in one order for all, so that two merges cannot wait for each other."""
    if kept.pk == other.pk:
        raise errors.SameRecord
    rows = Client.objects.select_for_update(no_key=True).filter(pk__in=[kept.pk, other.pk])
    by_key = {row.pk: row for row in rows.order_by("pk")}
    if any(row.is_gone for row in by_key.values()):
        raise RecordGone
    if Erasure.objects.filter(WAITING, client__in=by_key).exists():
        raise errors.AskedAlready
    return by_key[kept.pk], by_key[other.pk]


def _clear_doubled_precautions(kept: Client, other: Client, by: User) -> None:
    """A precaution stands once: of two, the one that was found first stays open."""
    standing = {each.precaution: each for each in kept.precautions.filter(cleared_on=None)}
    doubled = other.precautions.filter(cleared_on=None, precaution__in=standing)
    later = [
        max(standing[each.precaution], each, key=lambda found: found.found_on).pk
        for each in doubled
    ]
    PrecautionFound.objects.filter(pk__in=later).update(
        cleared_on=timezone.localdate(), cleared_by=by, cleared_reason=TWICE
    )


def _end_withdrawn_consents(kept: Client, other: Client) -> None:
    """Who has said no on one record since agreeing on the other has said no."""
    both = ReminderConsent.objects.filter(client__in=[kept, other])
    for ended in both.exclude(withdrawn_on=None):
        older = both.filter(channel=ended.channel, agreed_on__lte=ended.withdrawn_on)
        older.filter(withdrawn_on=None).exclude(client=ended.client_id).update(
            withdrawn_on=ended.withdrawn_on
        )


def _moved(kept: Client, other: Client) -> Counter[str]:
    try:
        return _move_all(kept, other)
    except IntegrityError as error:  # somebody moved one of the bookings in this very moment
        if overlaps := overlapping(kept, other):
            raise errors.BookingsOverlap(overlaps) from error
        raise


def _move_all(kept: Client, other: Client) -> Counter[str]:
    moved: Counter[str] = Counter()
    for model, field in direct_references():
        twins = twin_keys(model, field.name, kept, other)
        rows = model._base_manager.filter(**{field.name: other}).exclude(pk__in=twins)
        # Inside, a transaction of its own: what the database refuses is told as what it was.
        with _unprotected(model), transaction.atomic():
            count = rows.update(**{field.name: kept})
        if count:
            moved[kind_of(model)] += count
    return moved


def _unprotected(model: type[Model]) -> AbstractContextManager[None]:
    """Without the triggers that refuse a change; those that record one go on doing so."""
    triggers: list[Any] = getattr(model._meta, "triggers", [])
    names = [
        f"{model._meta.label}:{trigger.name}"
        for trigger in triggers
        if isinstance(trigger, pgtrigger.Protect)
    ]
    return pgtrigger.ignore(*names) if names else nullcontext()


def _take_details(kept: Client, other: Client, taken: list[str]) -> None:
    for name in taken:
        setattr(kept, name, getattr(other, name))
    changed = [*taken, *_reactivated(kept, other)]
    if changed:
        kept.save(update_fields=changed)


def _reactivated(kept: Client, other: Client) -> list[str]:
    """Who is in care under the other record is so under this one: the lists pass over the rest."""
    if kept.is_active or not other.is_active:
        return []
    kept.deactivated_at, kept.deactivated_reason = None, ""
    return ["deactivated_at", "deactivated_reason"]


def _make_pointer(kept: Client, other: Client) -> None:
    """Records merged into `other` before point to the one that now holds it all."""
    Client.objects.filter(merged_into=other).update(merged_into=kept)
    other.merged_into = kept
    other.deactivated_at = timezone.now()
    other.deactivated_reason = f"Merged into record {kept.record_number}."
    other.save(update_fields=["merged_into", "deactivated_at", "deactivated_reason"])
