"""A row of every kind that can hang on a client is merged and erased, whatever guards its table.

The kinds are found by the models' own references; the rows are those of the demo and `furnished`.
A new kind of which neither has a row fails here, until it has one: add it there, or to `add_rest`.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO
from typing import Any

import pgtrigger
import pytest
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction
from django.db.models import Model
from django.utils import timezone

from clinic.accounts.models import User
from clinic.clients.models import Client
from clinic.clients.record_requests import CopyRequest, CorrectionRequest, HandedOver
from clinic.keeping.belongings import belongings, direct_references, references_to
from clinic.keeping.models import ErasureGround, Hold
from clinic.keeping.services.erasing import ask_erasure, confirm_erasure
from clinic.keeping.services.holding import lift_hold
from clinic.keeping.services.merging import merge_clients
from clinic.scheduling.models import (
    HELD,
    Appointment,
    RecallSchedule,
    RecallSnooze,
    WaitListOffer,
)
from clinic.visits.models import RedFlagSeen, SetAside, VisitNote
from clinic.visits.reported import ProgressReported
from measurements.models import EndReading
from programmes.models import StepsBefore
from tests.builders import make_client
from tests.cast import Cast, make_cast
from tests.furnished import furnish

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def furnished(django_db_setup: None, django_db_blocker: Any) -> Iterator[Cast]:
    with django_db_blocker.unblock(), transaction.atomic():
        cast = make_cast()
        add_rest(furnish(cast), cast.lead)
        yield cast
        transaction.set_rollback(True)


def add_rest(ids: dict[str, Any], by: User) -> None:
    """Rows of the kinds that the demo's clinic and its pages do without."""
    note, session = VisitNote.objects.get(pk=ids["note_id"]), ids["session_id"]
    episode, client, day = note.episode, note.episode.client, timezone.localdate()
    SetAside.objects.create(note=note, typed={}, revision=1, kept_by=by)
    RedFlagSeen.objects.create(note=note, kind="infection", action="Sent to the doctor", seen_by=by)
    ProgressReported.objects.create(episode=episode, until_on=day, noted_by=by)
    RecallSchedule.objects.create(episode=episode, every_months=6, by=by)
    RecallSnooze.objects.create(client=client, recall="garment", until_on=day, reason="Away", by=by)
    StepsBefore.objects.create(
        programme_id=ids["programme_id"], revision=99, steps=[], is_as_planned=True, edited_by=by
    )
    EndReading.objects.create(session_id=session, side="left", figure_of_eight_cm=44)
    WaitListOffer.objects.create(
        entry_id=ids["entry_id"],
        therapist=by,
        period=Appointment.objects.get(pk=ids["appointment_id"]).period,
        offered_by=by,
    )


@pytest.fixture
def cast(furnished: Cast, db: None) -> Cast:
    return furnished


def every_kind() -> set[type[Model]]:
    found: set[type[Model]] = set()
    waiting: list[type[Model]] = [Client]
    while waiting:
        fresh = {field.model for field in references_to(waiting.pop())} - found
        found |= fresh
        waiting += fresh
    return found


def few_with_every_kind() -> list[Client]:
    """So many clients that each kind hangs on one of them. Fails on a kind that hangs on none."""
    chosen, missing = [], every_kind()
    held = {client: set(belongings([client.pk])) for client in Client.objects.order_by("pk")}
    while missing:
        fullest = max(held, key=lambda client: len(held[client] & missing))
        assert held[fullest] & missing, f"no client has {missing}"
        chosen.append(fullest)
        missing -= held[fullest]
    return chosen


def check_all() -> None:
    """References hold, what is signed is as it was signed, and the chain of the record is whole."""
    connection.check_constraints()
    for command in ("verify_notes", "verify_record"):
        call_command(command, stdout=StringIO())  # ends with SystemExit where something is wrong


def test_a_merge_moves_a_row_of_every_kind(cast: Cast) -> None:
    for client in few_with_every_kind():
        kept, before = make_client(family_name="Kept"), belongings([client.pk])
        merge_clients(kept=kept, other=client, taking=[], by=cast.lead)
        assert belongings([kept.pk]) == before
        assert belongings([client.pk]) == {}
    check_all()


def test_a_record_that_is_gone_gets_no_row_of_any_kind(cast: Cast) -> None:
    """Neither a new one nor one of another's; a new table is guarded by a migration of its own."""
    kept, gone = make_client(), make_client()
    merge_clients(kept=kept, other=gone, taking=[], by=cast.lead)
    for model, field in direct_references():
        row = model._base_manager.exclude(**{field.name: gone}).first()
        assert row is not None, model
        with refused():
            model._base_manager.filter(pk=row.pk).update(**{field.name: gone})
        setattr(row, field.name, gone)
        with refused():
            model._base_manager.bulk_create([row])


@contextmanager
def refused() -> Iterator[None]:
    """By what guards records that are gone, not by what else guards the table."""
    error = pytest.raises(IntegrityError, match="the record was merged or erased")
    with pgtrigger.ignore(), error, transaction.atomic():
        yield


def clear_the_way(by: User) -> None:
    """Nobody is booked to come or waits for an answer, and no record is held."""
    for hold in Hold.objects.filter(lifted_at=None):
        lift_hold(hold=hold, because="The claim is settled.", by=by)
    coming = Appointment.objects.filter(HELD, period__endswith__gt=timezone.now())
    coming.update(status="cancelled_early", cancel_reason="other")
    answered = {"closed_on": timezone.localdate(), "closed_by": by}
    CopyRequest.objects.filter(closed_on=None).update(handed_over=HandedOver.HAND, **answered)
    CorrectionRequest.objects.filter(closed_on=None).update(
        is_accepted=True, answer="Done.", **answered
    )


def test_an_erasure_removes_a_row_of_every_kind(cast: Cast) -> None:
    clear_the_way(cast.lead)
    for client in few_with_every_kind():
        found = belongings([client.pk])
        ground, reason = ErasureGround.LAW, "Order 12 of the court"
        asked = ask_erasure(client=client, ground=ground, reason=reason, by=cast.lead)
        confirm_erasure(erasure=asked, by=cast.therapist)
        for model, keys in found.items():
            assert not model._base_manager.filter(pk__in=keys).exists(), model
    check_all()
