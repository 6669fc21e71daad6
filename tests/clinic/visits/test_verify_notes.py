"""Seals: a column altered behind the triggers' back is found, and the command says so."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection

from clinic.common.vocabulary import Role
from clinic.visits import snapshot
from clinic.visits.models import Addendum, VisitNote
from clinic.visits.red_flags import RedFlag, RedFlagKind, Sign
from clinic.visits.seal import seal_of
from clinic.visits.services.signing import (
    acknowledge_red_flag,
    add_addendum,
    cosign_note,
    sign_note,
)
from clinic.visits.words import VisitKind
from tests.builders import today
from tests.cast import Cast, make_staff
from tests.clinic.scheduling.desk import booked
from tests.clinic.visits import plan_stories
from tests.clinic.visits.charting import ready
from tests.clinic.visits.test_signed_stays import OTHER_VALUE

pytestmark = pytest.mark.django_db


@pytest.fixture
def note(cast: Cast) -> VisitNote:
    """Everything that can be sealed hangs on it; beside it other rows that it might name."""
    student = make_staff("sam", "Sam Reed", Role.THERAPIST, "SPT")
    student.needs_cosignature = True
    student.save()
    note = ready(student, typed={"signs": frozenset({Sign.LUMP})})
    flag = RedFlag(RedFlagKind.NEW_LUMP, ())
    acknowledge_red_flag(note=note, flag=flag, action="Phoned.", by=student)
    note = sign_note(note=note, revision=note.revision, by=student)
    cosign_note(note=note, by=cast.therapist)
    add_addendum(note=note, text="Called back.", by=student)
    other = ready(cast.lead, kind=VisitKind.EVALUATION)
    booked(cast.lead, today(), client=other.episode.client)
    return VisitNote.objects.get(pk=note.pk)


def verified() -> tuple[int, str]:
    told = StringIO()
    try:
        call_command("verify_notes", stdout=told, stderr=told)
    except SystemExit as ended:
        return int(ended.code or 0), told.getvalue()
    return 0, told.getvalue()


TABLES = ("visitnote", "treatmententry", "redflagseen", "addendum", "planofcare", "goal")


@contextmanager
def triggers_off() -> Iterator[None]:
    """As somebody would who owns the tables and means to forge a note."""
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for table in TABLES:
            cursor.execute(f"ALTER TABLE visits_{table} DISABLE TRIGGER USER")
        yield
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        for table in TABLES:
            cursor.execute(f"ALTER TABLE visits_{table} ENABLE TRIGGER USER")


def tamper(statement: str, *values: Any) -> None:
    with triggers_off(), connection.cursor() as cursor:
        cursor.execute(statement, values)
        assert cursor.rowcount == 1


def test_what_nobody_touched_is_as_signed(note: VisitNote) -> None:
    code, told = verified()
    assert code == 0
    assert told.splitlines() == [
        "Checked note: 1, co-signature: 1, addendum: 1.",
        "All as signed.",
    ]


def test_with_nothing_signed_there_is_nothing_to_find(db: None) -> None:
    assert verified() == (0, "Checked nothing, since nothing is signed.\nAll as signed.\n")


def other_value(row: Any, column: str) -> str:
    field = next(one for one in row._meta.concrete_fields if one.column == column)
    kind = field.get_internal_type()
    if kind == "BooleanField":
        return f"NOT {column}"
    if field.is_relation:
        return f"'{_another(row, field)}'"
    if column == "kind":
        return "'discharge'" if isinstance(row, VisitNote) else "'clot'"
    return OTHER_VALUE[kind]


def _another(row: Any, field: Any) -> Any:
    """The id of a row of the right kind that this row does not name yet."""
    named = {getattr(row, one.attname) for one in row._meta.concrete_fields if one.is_relation}
    rows = field.related_model.objects.exclude(pk__in=named - {None}).exclude(pk=row.pk)
    return rows.values_list("pk", flat=True)[0]


# The id is left out: a row under another id is another row, and its parts no longer lead to it.
NOTE_COLUMNS = [
    field.column for field in VisitNote._meta.concrete_fields if field.column not in {"id"}
]


@pytest.mark.parametrize("column", NOTE_COLUMNS)
def test_any_column_of_a_signed_note_altered_is_found(note: VisitNote, column: str) -> None:
    value = other_value(note, column)
    tamper(f'UPDATE visits_visitnote SET "{column}" = {value} WHERE id = %s', note.pk)
    code, told = verified()
    assert code == 1
    kind = "co-signature" if column.startswith("cosign") else "note"
    assert f"NOT AS SIGNED: {kind} {note.pk}" in told


PARTS = {
    "treatmententry": ["place", "service_id", "minutes", "remark", "note_id"],
    "redflagseen": ["kind", "because", "action", "seen_by_id", "seen_at", "note_id"],
    "addendum": ["text", "written_by_id", "signature", "written_at", "seal", "note_id"],
}


@pytest.mark.parametrize(
    ("table", "column"), [(table, column) for table, columns in PARTS.items() for column in columns]
)
def test_any_column_of_its_parts_altered_is_found(note: VisitNote, table: str, column: str) -> None:
    rows = {"treatmententry": note.treatments, "redflagseen": note.red_flags}
    row = rows.get(table, note.addenda).first()  # type: ignore[attr-defined]
    value = other_value(row, column)
    tamper(f'UPDATE visits_{table} SET "{column}" = {value} WHERE id = %s', row.pk)
    code, told = verified()
    assert code == 1
    named = f"addendum {row.pk}" if table == "addendum" else f"note {note.pk}"
    assert re.search(rf"^NOT AS SIGNED: {named}$", told, re.MULTILINE)


@pytest.mark.parametrize("table", ["treatmententry", "redflagseen"])
def test_a_part_taken_away_is_found(note: VisitNote, table: str) -> None:
    tamper(f"DELETE FROM visits_{table} WHERE id IN (SELECT min(id) FROM visits_{table})")
    assert verified()[0] == 1


def test_a_part_put_in_is_found(note: VisitNote) -> None:
    tamper(
        "INSERT INTO visits_treatmententry (note_id, place, service_id, minutes, remark)"
        " SELECT note_id, 9, service_id, 5, '' FROM visits_treatmententry WHERE place = 0"
        " AND note_id IN (SELECT id FROM visits_visitnote WHERE signed_at IS NOT NULL)"
    )
    assert verified()[0] == 1


def test_the_signed_content_and_its_seal_changed_together_differ_from_the_rows(
    note: VisitNote,
) -> None:
    """Whoever knows how a seal is made still has to change every row alike."""
    content = note.signed | {"note": note.signed["note"] | {"plan": "forged"}}
    with triggers_off():
        VisitNote.objects.filter(pk=note.pk).update(signed=content, seal=seal_of(content))
    assert verified()[0] == 1


def test_every_column_is_sealed_or_comes_after_the_seal() -> None:
    """A column added to a model later must be sealed too."""
    after = {"signed", "seal", "cosigned_at", "cosigned_by_id", "cosignature", "cosignature_seal"}
    columns = {field.attname for field in VisitNote._meta.concrete_fields}
    assert columns == {*snapshot.NOTE_COLUMNS} | after
    assert {field.attname for field in Addendum._meta.concrete_fields} == {
        *snapshot.ADDENDUM_COLUMNS,
        "id",
        "seal",
    }
    for name, sealed in (
        ("treatments", snapshot.TREATMENT_COLUMNS),
        ("red_flags", snapshot.RED_FLAG_COLUMNS),
    ):
        model = VisitNote._meta.get_field(name).related_model
        assert {field.attname for field in model._meta.concrete_fields} == {*sealed, "note_id"}


# Plans of care

PLAN_CHANGES = [
    "UPDATE visits_planofcare SET treatment = 'forged' WHERE id = %s",
    "UPDATE visits_planofcare SET to_on = to_on - 1 WHERE id = %s",
    "UPDATE visits_planofcare SET signature = 'forged' WHERE id = %s",
    "UPDATE visits_planofcare SET signed_at = signed_at - interval '1 day' WHERE id = %s",
    "UPDATE visits_planofcare SET seal = repeat('0', 64) WHERE id = %s",
    "UPDATE visits_goal SET target = target + 1 WHERE place = 0 AND plan_id = %s",
    "UPDATE visits_goal SET text = 'forged' WHERE place = 0 AND plan_id = %s",
    "UPDATE visits_goal SET due_on = due_on - 1 WHERE place = 0 AND plan_id = %s",
]


@pytest.mark.parametrize("statement", PLAN_CHANGES)
def test_a_signed_plan_altered_is_found(cast: Cast, statement: str) -> None:
    plan = plan_stories.signed(plan_stories.taped_episode(cast.therapist))
    assert verified() == (0, "Checked plan: 1.\nAll as signed.\n")
    tamper(statement, plan.pk)
    code, told = verified()
    assert code == 1
    assert f"NOT AS SIGNED: plan {plan.pk}" in told
