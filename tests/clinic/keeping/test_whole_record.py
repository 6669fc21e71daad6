"""Everything that can hang on a client is moved, exported and erased: nothing is forgotten."""

import json
from datetime import date
from io import StringIO
from typing import Any
from uuid import uuid4
from zipfile import ZipFile

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction
from django.db.models import Model
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit.models import Change, Entry
from clinic.clients.models import Client
from clinic.common.vocabulary import Role
from clinic.keeping.belongings import belongings
from clinic.keeping.models import ErasureGround
from clinic.keeping.services.erasing import ask_erasure, confirm_erasure
from clinic.keeping.services.exporting import export_client
from clinic.keeping.services.merging import merge_clients
from clinic.letters.models import ProgressLetter
from clinic.scheduling.models import HELD, Appointment
from clinic.visits.models import VisitNote
from programmes.models import Programme


def lead() -> User:
    return User.objects.get(role=Role.CLINIC_LEAD)


def colleague() -> User:
    return User.objects.filter(role=Role.THERAPIST)[0]


def signed_and_sent() -> list[Any]:
    notes = VisitNote.objects.filter(signed_at__isnull=False).order_by("pk")
    letters = ProgressLetter.objects.filter(approved_at__isnull=False).order_by("pk")
    return [
        *notes.values_list("pk", "signed", "seal"),
        *((one.pk, bytes(one.pdf or b""), one.pdf_sha256, one.summary) for one in letters),
    ]


def everything() -> dict[str, list[tuple[Any, ...]]]:
    """Every row of the database, by table."""
    found = {}
    with connection.cursor() as cursor:
        for table in connection.introspection.table_names(cursor):
            cursor.execute(f'SELECT * FROM "{table}"')
            found[table] = cursor.fetchall()
    return found


def erased(client: Client) -> None:
    Appointment.objects.filter(HELD, client=client, period__endswith__gt=timezone.now()).update(
        status="cancelled_early", cancel_reason="other"
    )
    erasure = ask_erasure(
        client=client, ground=ErasureGround.LAW, reason="Order 12 of the court", by=lead()
    )
    confirm_erasure(erasure=erasure, by=colleague())


def test_the_fullest_record_holds_most_kinds_of_rows(fullest: Client) -> None:
    assert len(belongings([fullest.pk])) >= 20


# Merging


def test_a_merge_moves_everything_and_leaves_what_was_signed_and_sent_to_the_byte(
    fullest: Client,
) -> None:
    kept = Client.objects.create(
        given_name="Mara", family_name="Second", born_on=date(1960, 5, 5), record_number="S1"
    )
    before, content = belongings([fullest.pk]), signed_and_sent()
    assert len(content) > 20
    merge_clients(kept=kept, other=fullest, taking=["phone"], by=lead())
    assert belongings([kept.pk]) == before
    assert belongings([fullest.pk]) == {}
    assert signed_and_sent() == content
    told = StringIO()
    call_command("verify_notes", stdout=told)
    assert told.getvalue().endswith("All as signed.\n")


# Erasing


def test_an_erasure_leaves_no_row_and_no_word_of_the_client(fullest: Client) -> None:
    found, name = belongings([fullest.pk]), fullest.family_name
    change = changed(fullest, {"family_name": [name, "Other"]})
    erased(fullest)
    for model, keys in found.items():
        assert not model._base_manager.filter(pk__in=keys).exists(), model
    left = everything()
    assert {table for table, rows in left.items() if name in str(rows)} == set()
    assert {table for table, rows in left.items() if str(fullest.pk) in str(rows)} == {
        "audit_change",
        "audit_entry",
        "clients_client",
        "keeping_erasure",
    }
    change.refresh_from_db()
    assert (change.values, change.salt, change.digest) == (None, None, "d" * 64)
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")


def changed(client: Client, values: dict[str, list[str]]) -> Change:
    """What the record of changes keeps of an edit."""
    return Change.objects.create(
        at=timezone.now(),
        act=uuid4(),
        table="clients_client",
        row=str(client.pk),
        client_id=client.pk,
        is_deletion=False,
        values=values,
        salt=uuid4(),
        digest="d" * 64,
        database_user="ebbline",
    )


def test_what_was_changed_on_other_records_stays_readable(fullest: Client) -> None:
    other = changed(Client.objects.exclude(pk=fullest.pk)[0], {"phone": ["1", "2"]})
    erased(fullest)
    other.refresh_from_db()
    assert other.values == {"phone": ["1", "2"]}


def test_an_erasure_touches_nobody_elses_rows(fullest: Client) -> None:
    own = belongings([fullest.pk])
    before = _others(own, fullest)
    erased(fullest)
    assert _others(own, fullest) == before


def _others(own: dict[type[Model], set[Any]], client: Client) -> dict[str, int]:
    return {
        model._meta.label: model._base_manager.exclude(pk__in=own[model]).count() for model in own
    } | {"clients": Client.objects.exclude(pk=client.pk).filter(erased_at=None).count()}


def test_the_access_record_keeps_every_line(fullest: Client) -> None:
    before = list(Entry.objects.order_by("pk").values_list())
    erased(fullest)
    assert list(Entry.objects.order_by("pk").values_list())[: len(before)] == before


def test_what_is_signed_is_removed_on_no_other_path(fullest: Client) -> None:
    notes = VisitNote.objects.filter(signed_at__isnull=False, episode__client=fullest)
    with pytest.raises(DatabaseError), transaction.atomic():
        notes._raw_delete(notes.db)


# Exporting


def test_an_export_holds_every_row_and_every_letter(fullest: Client) -> None:
    with ZipFile(export_client(client=fullest, by=lead())) as archive:
        names = {name.partition("/")[2] for name in archive.namelist()}
        root = f"record-{fullest.record_number}"
        for model, keys in belongings([fullest.pk]).items():
            rows = json.loads(archive.read(f"{root}/rows/{model._meta.label_lower}.json"))
            assert {str(row["id"]) for row in rows} == {str(key) for key in keys}
        bundle = json.loads(archive.read(f"{root}/record.fhir.json"))
        words = json.loads(archive.read(f"{root}/names.json"))
        bookings = json.loads(archive.read(f"{root}/rows/scheduling.appointment.json"))
    for booking in bookings:
        kept = Appointment.objects.get(pk=booking["id"])
        assert words["accounts.user"][str(booking["therapist"])] == str(kept.therapist)
        assert words["scheduling.appointmentkind"][str(booking["kind"])] == str(kept.kind)
    assert "clients.client" not in words
    letters = ProgressLetter.objects.filter(
        episode__client=fullest, approved_at__isnull=False
    ).count()
    assert sum(name.startswith("letters/") for name in names) == letters
    handouts = Programme.objects.filter(episode__client=fullest, handout__isnull=False).count()
    assert sum(name.startswith("prints/") for name in names) == handouts
    assert (bundle["resourceType"], bundle["type"]) == ("Bundle", "collection")
    assert Entry.objects.filter(verb="client.exported", client=fullest).count() == 1
