"""Writes about what clients ask about their own record."""

from datetime import date

from django.db import transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients import days, errors
from clinic.clients.models import Client
from clinic.clients.record_requests import CopyRequest, CorrectionRequest, HandedOver
from clinic.clients.services import lock_record


@transaction.atomic
def ask_copy(*, client: Client, request: CopyRequest, by: User) -> CopyRequest:
    """Keep that a copy was asked for. Raises DayInFuture, RecordGone."""
    days.check_past("asked_on", request.asked_on, today=timezone.localdate())
    request.client, request.noted_by = lock_record(client=client), by
    request.save(force_insert=True)
    audit.record(by, "copy.asked", client=client, subject=request)
    return request


@transaction.atomic
def hand_over_copy(*, request: CopyRequest, on: date, how: HandedOver, by: User) -> None:
    """Keep when and how the copy reached the client. Raises what `_open` raises."""
    kept = _open(request, on)
    kept.closed_on, kept.closed_by, kept.handed_over = on, by, how
    kept.save()
    audit.record(by, "copy.handed_over", client=kept.client, subject=kept)


@transaction.atomic
def refuse_copy(*, request: CopyRequest, on: date, because: str, by: User) -> None:
    """Keep that no copy is given, and why. Raises what `_open` raises."""
    kept = _open(request, on)
    kept.closed_on, kept.closed_by, kept.refused_because = on, by, because
    kept.save()
    audit.record(by, "copy.refused", client=kept.client, subject=kept)


@transaction.atomic
def ask_correction(*, client: Client, request: CorrectionRequest, by: User) -> CorrectionRequest:
    """Keep what is said to be wrong. Raises DayInFuture, RecordGone."""
    days.check_past("asked_on", request.asked_on, today=timezone.localdate())
    request.client, request.noted_by = lock_record(client=client), by
    request.save(force_insert=True)
    audit.record(by, "correction.asked", client=client, subject=request)
    return request


@transaction.atomic
def answer_correction(
    *, request: CorrectionRequest, on: date, is_accepted: bool, answer: str, by: User
) -> None:
    """Keep the answer: what was done, or why nothing is. Raises what `_open` raises.

    The record itself is corrected where it stands: by an edit, an addendum, a session struck out.
    """
    kept = _open(request, on)
    kept.closed_on, kept.closed_by = on, by
    kept.is_accepted, kept.answer = is_accepted, answer
    kept.save()
    audit.record(by, "correction.answered", client=kept.client, subject=kept)


def _open(request: CopyRequest | CorrectionRequest, on: date) -> CopyRequest | CorrectionRequest:
    """The request, locked. Raises AnsweredAlready, AnsweredBeforeAsked, DayInFuture."""
    rows = type(request)._default_manager.select_for_update(of=("self",))
    kept: CopyRequest | CorrectionRequest = rows.select_related("client").get(pk=request.pk)
    if not kept.is_open:
        raise errors.AnsweredAlready
    days.check_past("closed_on", on, today=timezone.localdate())
    if on < kept.asked_on:
        raise errors.AnsweredBeforeAsked("closed_on", kept.asked_on)
    return kept
