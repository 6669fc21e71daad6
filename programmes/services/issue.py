"""Giving a programme to the client, and taking it back. What was given is never touched again."""

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.db import DatabaseError, transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from clinic.clients.models import Client
from programmes.body.dose import Dose
from programmes.choices import as_json
from programmes.errors import (
    DraftChanged,
    NoSteps,
    PrecautionBars,
    ProgrammeKept,
    ReasonMissing,
)
from programmes.models import Programme
from programmes.pdf import handout_pdf
from programmes.selectors.drafts import Desk, desk_of, last_review
from programmes.selectors.handouts import draft_handout, exercise_rows
from programmes.selectors.programmes import in_hand, last_issued
from programmes.situations import situation_as_json

RAISED_BY_TRIGGER = "P0001"


@transaction.atomic
def issue_programme(
    *, programme: Programme, revision: int, by: User, reason: str = ""
) -> Programme:
    """Give a draft to the client: plan, validate, print and keep it, or nothing at all.

    `reason` is needed when the validator finds a fault. The client's row is locked, so that no
    precaution can be recorded between the check and the issue. Raises PrecautionBars, NoSafeRoute,
    SituationUnclear, NoSteps, ReasonMissing, DraftChanged, ProgrammeKept, HandoutTooLong,
    NotPrinted.
    """
    stored = _locked(programme)
    if stored.revision != revision:
        raise DraftChanged(by=stored.edited_by, at=stored.edited_at)
    desk = desk_of(stored)
    _refuse(desk, reason)
    _fill(stored, desk, by)
    stored.unsound_reason = reason if desk.found else ""
    stored.handout = handout_pdf(draft_handout(desk, by, is_draft=False))
    stored.handout_sha256 = hashlib.sha256(stored.handout).hexdigest()
    _supersede(stored)
    stored.save()
    stored.before.all().delete()
    audit.record(by, "programme.issued", client=stored.episode.client, subject=stored)
    return stored


def _locked(programme: Programme) -> Programme:
    """Client first, as `record_precaution` locks it, then the draft."""
    Client.objects.select_for_update(no_key=True).get(episodes=programme.episode_id)
    rows = Programme.objects.select_for_update(of=("self",))
    stored = rows.select_related("episode__client", "edited_by").get(pk=programme.pk)
    if stored.is_issued:
        raise ProgrammeKept
    return stored


def _refuse(desk: Desk, reason: str) -> None:
    if desk.effects.barring or desk.effects.awaiting_clearance:
        barring = (*desk.effects.barring, *desk.effects.awaiting_clearance)
        raise PrecautionBars(tuple(effect.reason for effect in barring))
    if desk.why_none is not None:
        raise desk.why_none
    if not desk.steps:
        raise NoSteps
    if desk.found and not reason.strip():
        raise ReasonMissing(desk.found)


def _fill(stored: Programme, desk: Desk, by: User) -> None:
    """What the plan rested on, as plain values that no later fix can touch."""
    sheet = draft_handout(desk, by, is_draft=False)
    stored.issued_at, stored.issued_by = timezone.now(), by
    stored.dose = dose_as_json(desk.dose)
    stored.situation = situation_as_json(desk.ground.situation) if desk.ground.situation else None
    stored.precautions = _precautions(desk)
    stored.left_out = {
        "record": [
            *(f"{one.what}: {one.reason}" for one in (desk.plan.left_out if desk.plan else ())),
            *(desk.plan.notes if desk.plan else ()),
        ],
        "client": list(sheet.skipped),
    }
    stored.violations = [
        {"fault": one.fault.value, "index": one.index, "sentence": one.sentence}
        for one in desk.found
    ]
    stored.exercises = exercise_rows(stored.exercise_ids)
    stored.printed = {"people": sheet.people.as_json()}
    stored.paper_size = sheet.people.paper_size.value


def _precautions(desk: Desk) -> dict[str, Any]:
    review = last_review(desk.programme.episode.client)
    return {
        "asked_on": review.asked_on.isoformat() if review else None,
        "open": [
            {
                "id": found.pk,
                "precaution": found.precaution,
                "found_on": found.found_on.isoformat(),
            }
            for found in desk.ground.story.precautions
        ],
        "clearances": as_json(desk.ground.choices)["clearances"],
    }


def dose_as_json(dose: Dose) -> dict[str, Any]:
    """Every count with the range that was allowed, and the seconds of one stretch."""
    counts = {
        name: {
            "default": count.default,
            "low": count.allowed.low,
            "high": count.allowed.high,
            "source": count.source,
        }
        for name, count in dose.counts().items()
    }
    return {"counts": counts, "seconds_per_stretch": dose.seconds_per_stretch}


def _supersede(stored: Programme) -> None:
    stored.supersedes = last_issued(stored.episode)
    held = in_hand(stored.episode)
    if held is not None:
        held.superseded_at = stored.issued_at
        with _kept_programmes():
            held.save(update_fields=["superseded_at"])


@transaction.atomic
def withdraw_programme(*, programme: Programme, reason: str, by: User) -> Programme:
    """Take an issued programme back, for a reason. Raises ReasonMissing, ProgrammeKept."""
    rows = Programme.objects.select_for_update(of=("self",)).select_related("episode__client")
    stored = rows.defer("handout").get(pk=programme.pk)
    if not stored.is_issued or stored.withdrawn_at is not None:
        raise ProgrammeKept
    if not reason.strip():
        raise ReasonMissing
    stored.withdrawn_at, stored.withdrawn_by = timezone.now(), by
    stored.withdrawn_reason = reason.strip()
    with _kept_programmes():
        stored.save(update_fields=["withdrawn_at", "withdrawn_by", "withdrawn_reason"])
    audit.record(by, "programme.withdrawn", client=stored.episode.client, subject=stored)
    return stored


@transaction.atomic
def note_look(*, programme: Programme, verb: str, by: User) -> None:
    """Record that a programme was opened or printed."""
    audit.record(by, verb, client=programme.episode.client, subject=programme)


@contextmanager
def _kept_programmes() -> Iterator[None]:
    """The database's own refusal to touch an issued programme, as an error a person can read."""
    try:
        with transaction.atomic():
            yield
    except DatabaseError as error:
        if getattr(error.__cause__, "sqlstate", None) != RAISED_BY_TRIGGER:
            raise
        raise ProgrammeKept from error
