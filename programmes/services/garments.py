"""Writes about garments: order or issue, correct, check the fit, end."""

from datetime import date

from django.db import transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Episode
from programmes.applied import Seen
from programmes.compression.replacement import USUAL_MONTHS, replacement_due_on
from programmes.compression.words import EndReason
from programmes.errors import DaysCross, DayStillToCome, GarmentEnded
from programmes.models import FitCheck, Garment


@transaction.atomic
def record_garment(*, garment: Garment, by: User, months: int = USUAL_MONTHS) -> Garment:
    """Keep a garment ordered or issued. `months` after the issue it is due, unless a day is given.

    Raises DayStillToCome, DaysCross.
    """
    _check_days(garment)
    _set_due_day(garment, months)
    garment.recorded_by = by
    garment.save(force_insert=True)
    audit.record(by, "garment.recorded", client=garment.episode.client, subject=garment)
    return garment


@transaction.atomic
def change_garment(*, garment: Garment, by: User, months: int = USUAL_MONTHS) -> Garment:
    """Correct a garment, or note that it was issued. Raises GarmentEnded and the day errors."""
    if _locked(garment).ended_on is not None:
        raise GarmentEnded
    _check_days(garment)
    _set_due_day(garment, months)
    garment.save(force_update=True)
    audit.record(by, "garment.changed", client=garment.episode.client, subject=garment)
    return garment


@transaction.atomic
def check_fit(*, garment: Garment, seen: Seen, by: User) -> FitCheck:
    """Keep one look at the fit. Raises DayStillToCome, DaysCross, GarmentEnded."""
    stored = _locked(garment)
    if stored.ended_on is not None:
        raise GarmentEnded
    _check_day("checked_on", seen.checked_on, stored)
    check = FitCheck.objects.create(
        garment=stored,
        checked_on=seen.checked_on,
        verdict=seen.verdict,
        note=seen.note,
        checked_by=by,
    )
    audit.record(by, "garment.fit_checked", client=garment.episode.client, subject=garment)
    return check


@transaction.atomic
def end_garment(*, garment: Garment, ended_on: date, reason: EndReason, by: User) -> Garment:
    """Note that a garment is no longer in use. Raises DayStillToCome, DaysCross, GarmentEnded."""
    stored = _locked(garment)
    if stored.ended_on is not None:
        raise GarmentEnded
    _check_day("ended_on", ended_on, stored)
    stored.ended_on, stored.end_reason = ended_on, reason
    stored.save(update_fields=["ended_on", "end_reason"])
    audit.record(by, "garment.ended", client=garment.episode.client, subject=stored)
    return stored


def note_garments_seen(*, episode: Episode, by: User) -> None:
    """Keep in the record that somebody looked at an episode's garments or bandages."""
    audit.record(by, "garments.seen", client=episode.client, subject=episode)


def _locked(garment: Garment) -> Garment:
    return Garment.objects.select_for_update().get(pk=garment.pk)


def _set_due_day(garment: Garment, months: int) -> None:
    """Due some months after the issue unless another day was given; an order has no due day."""
    if garment.issued_on is None:
        garment.replacement_due_on = None
    elif garment.replacement_due_on is None:
        garment.replacement_due_on = replacement_due_on(garment.issued_on, months=months)


def _check_days(garment: Garment) -> None:
    """Raises DayStillToCome, DaysCross."""
    today = timezone.localdate()
    ordered_on, issued_on = garment.ordered_on, garment.issued_on
    due_on = garment.replacement_due_on
    for field, day in (("ordered_on", ordered_on), ("issued_on", issued_on)):
        if day and day > today:
            raise DayStillToCome(field)
    if ordered_on and issued_on and issued_on < ordered_on:
        raise DaysCross("issued_on", what="ordered", earliest_on=ordered_on)
    if issued_on and due_on and due_on <= issued_on:
        raise DaysCross("replacement_due_on", what="issued", earliest_on=issued_on)


def _check_day(field: str, day: date, garment: Garment) -> None:
    """A day of use: not to come, not before the garment was issued or else ordered."""
    if day > timezone.localdate():
        raise DayStillToCome(field)
    if garment.issued_on and day < garment.issued_on:
        raise DaysCross(field, what="issued", earliest_on=garment.issued_on)
    if garment.ordered_on and day < garment.ordered_on:
        raise DaysCross(field, what="ordered", earliest_on=garment.ordered_on)
