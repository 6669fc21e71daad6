"""Writes about the clinic's exercises, precautions asked at a visit, and adherence."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Client, Episode, PrecautionFound
from clinic.clients.selectors import open_precautions
from clinic.clients.services import record_precaution
from clinic.common.vocabulary import Precaution
from programmes.body.dose import dose_with
from programmes.errors import DayNotPast, ExerciseNameTaken
from programmes.models import AdherenceRecord, ClinicDose, ClinicExercise, PrecautionReview
from programmes.selectors.programmes import in_hand


@transaction.atomic
def keep_exercise(*, exercise: ClinicExercise, by: User) -> ClinicExercise:
    """Add an exercise to the clinic's list, or change one. Sheets already given stay as they are.

    Raises ExerciseNameTaken.
    """
    try:
        with transaction.atomic():
            exercise.save()
    except IntegrityError as error:
        raise ExerciseNameTaken from error
    audit.record(by, "exercise.kept", subject=exercise)
    return exercise


@transaction.atomic
def keep_dose(*, counts: Mapping[str, int], by: User) -> ClinicDose:
    """Keep the clinic's default counts. Programmes already given stay as they are.

    Raises DoseOutOfRange for a count outside both ranges.
    """
    dose_with(counts)
    kept, _ = ClinicDose.objects.update_or_create(pk=1, defaults={"counts": dict(counts)})
    audit.record(by, "dose.kept", subject=kept)
    return kept


@dataclass(frozen=True)
class Asked:
    """What was asked at a visit. `yes` are precautions found that did not stand before."""

    asked_on: date
    yes: tuple[Precaution, ...] = ()
    note: str = ""


@transaction.atomic
def review_precautions(*, client: Client, asked: Asked, by: User) -> PrecautionReview:
    """Keep that every precaution was asked; each yes is recorded as found on that day.

    Raises DayNotPast, and what `record_precaution` raises.
    """
    if asked.asked_on > timezone.localdate():
        raise DayNotPast("asked_on")
    Client.objects.select_for_update(no_key=True).get(pk=client.pk)
    standing = [found.precaution for found in open_precautions(client)]
    new = [precaution for precaution in asked.yes if precaution.value not in standing]
    for precaution in new:
        found = PrecautionFound(client=client, precaution=precaution, found_on=asked.asked_on)
        found.note = asked.note[:200]
        record_precaution(found=found, by=by)
    review = PrecautionReview.objects.create(
        client=client,
        asked_on=asked.asked_on,
        asked=[precaution.value for precaution in Precaution],
        found=[precaution.value for precaution in new],
        standing=standing,
        note=asked.note,
        asked_by=by,
    )
    audit.record(by, "precautions.asked", client=client, subject=review)
    return review


@dataclass(frozen=True)
class Told:
    """What a client told at a visit: days done of the last seven, and which steps are hard."""

    recorded_on: date
    days_done: int
    hard_steps: Sequence[Mapping[str, Any]] = ()
    note: str = ""


@transaction.atomic
def record_adherence(*, episode: Episode, told: Told, by: User) -> AdherenceRecord:
    """Keep one answer a day; a second on the same day takes the place of the first.

    Raises DayNotPast.
    """
    if not episode.opened_on <= told.recorded_on <= timezone.localdate():
        raise DayNotPast("recorded_on")
    record, _ = AdherenceRecord.objects.update_or_create(
        episode=episode,
        recorded_on=told.recorded_on,
        defaults={
            "programme": in_hand(episode),
            "days_done": told.days_done,
            "hard_steps": list(told.hard_steps),
            "note": told.note,
            "recorded_by": by,
        },
    )
    audit.record(by, "adherence.recorded", client=episode.client, subject=record)
    return record
