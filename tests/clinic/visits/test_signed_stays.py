"""What is signed refuses every change, on every path that leads to the database."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction

from clinic.visits.errors import NoteKept, NoteNotSigned
from clinic.visits.models import Addendum, RedFlagSeen, TreatmentEntry, VisitNote
from clinic.visits.red_flags import RedFlag, RedFlagKind, Sign
from clinic.visits.sentences import sentence
from clinic.visits.services.notes import copy_forward, discard_note, save_note
from clinic.visits.services.signing import acknowledge_red_flag, add_addendum, sign_note
from clinic.visits.words import Section
from tests.cast import Cast, make_cast
from tests.clinic.visits.charting import draft, ready, service, signed, typed

pytestmark = pytest.mark.django_db


def whole(by: Any) -> VisitNote:
    """Signed, with treatments, a red flag acknowledged, and an addendum."""
    note = ready(by, typed={"signs": frozenset({Sign.LUMP})})
    flag = RedFlag(RedFlagKind.NEW_LUMP, ())
    acknowledge_red_flag(note=note, flag=flag, action="Phoned Dr. Farrow.", by=by)
    note = sign_note(note=note, revision=note.revision, by=by)
    add_addendum(note=note, text="The client called back.", by=by)
    return VisitNote.objects.get(pk=note.pk)


def refused(change: Callable[[], Any]) -> str:
    with pytest.raises(DatabaseError) as error, transaction.atomic():
        change()
    return str(error.value)


def run(statement: str, *values: Any) -> Callable[[], None]:
    def change() -> None:
        with connection.cursor() as cursor:
            cursor.execute(statement, values)

    return change


COLUMNS = [
    field.column
    for field in VisitNote._meta.concrete_fields
    if field.column not in {"cosigned_at", "cosigned_by_id", "cosignature", "cosignature_seal"}
]
OTHER_VALUE = {
    "UUIDField": "gen_random_uuid()",
    "CharField": "'other'",
    "TextField": "'other'",
    "DateField": "'2001-01-01'",
    "DateTimeField": "'2001-01-01'",
    "PositiveSmallIntegerField": "59",
    "PositiveIntegerField": "59",
    "JSONField": "'{}'",
}


@pytest.mark.parametrize("column", COLUMNS)
def test_no_column_of_a_signed_note_can_be_updated(cast: Cast, column: str) -> None:
    note = whole(cast.therapist)
    field = next(one for one in VisitNote._meta.concrete_fields if one.column == column)
    value = OTHER_VALUE.get(field.get_internal_type(), "NULL")
    if field.get_internal_type() == "BooleanField":
        value = f"NOT {column}"
    if field.is_relation and getattr(note, column) is None:
        value = f"'{note.pk}'"
    text = refused(run(f'UPDATE visits_visitnote SET "{column}" = {value} WHERE id = %s', note.pk))
    assert "pgtrigger" in text or "cannot" in text.lower(), text


TABLES = ["treatmententry", "redflagseen", "addendum", "visitnote"]


@pytest.mark.parametrize("table", TABLES)
def test_no_row_of_it_can_be_deleted_and_no_table_emptied(cast: Cast, table: str) -> None:
    note = whole(cast.therapist)
    key = "id" if table == "visitnote" else "note_id"
    assert refused(run(f"DELETE FROM visits_{table} WHERE {key} = %s", note.pk))
    run("SET CONSTRAINTS ALL IMMEDIATE")()  # waiting checks would refuse it before the trigger
    assert "TRUNCATE is refused" in refused(run(f"TRUNCATE visits_{table} CASCADE"))
    assert "TRUNCATE is refused" in refused(run("TRUNCATE clients_client CASCADE"))


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE visits_treatmententry SET minutes = 59 WHERE note_id = %s",
        "UPDATE visits_treatmententry SET remark = 'x' WHERE note_id = %s",
        "UPDATE visits_redflagseen SET action = 'x' WHERE note_id = %s",
        "UPDATE visits_redflagseen SET because = 'x' WHERE note_id = %s",
        "UPDATE visits_addendum SET text = 'x' WHERE note_id = %s",
        "UPDATE visits_addendum SET written_at = now() WHERE note_id = %s",
        "INSERT INTO visits_treatmententry (note_id, place, service_id, minutes, remark)"
        " SELECT note_id, 9, service_id, 5, '' FROM visits_treatmententry"
        " WHERE note_id = %s LIMIT 1",
        "INSERT INTO visits_redflagseen (note_id, kind, because, action, seen_by_id, seen_at)"
        " SELECT note_id, 'clot', 'x', 'x', seen_by_id, now() FROM visits_redflagseen"
        " WHERE note_id = %s",
    ],
)
def test_no_part_of_it_can_be_changed_or_added_by_raw_sql(cast: Cast, statement: str) -> None:
    note = whole(cast.therapist)
    text = refused(run(statement, note.pk)).lower()
    assert "cannot" in text


def test_a_treatment_of_a_draft_cannot_be_moved_into_a_signed_note(cast: Cast) -> None:
    note, other = whole(cast.therapist), draft(cast.therapist)
    save_note(note=other, typed=typed(), revision=0, by=cast.therapist)
    move = "UPDATE visits_treatmententry SET note_id = %s WHERE note_id = %s"
    assert "signed note" in refused(run(move, note.pk, other.pk))


def _by_the_model(note: VisitNote) -> dict[str, Callable[[], Any]]:
    note.plan = "other"
    entry = note.treatments.first()
    entry.minutes = 59
    flag, addendum = note.red_flags.get(), note.addenda.get()
    flag.action = addendum.text = "other"
    fresh = TreatmentEntry(note=note, service=service(), minutes=5)
    return {
        "note saved": note.save,
        "note saved in part": lambda: note.save(update_fields=["plan"]),
        "note deleted": lambda: VisitNote.objects.filter(pk=note.pk)._raw_delete("default"),
        "notes updated": lambda: VisitNote.objects.filter(pk=note.pk).update(plan="x"),
        "notes updated in bulk": lambda: VisitNote.objects.bulk_update([note], ["plan"]),
        "entry saved": entry.save,
        "entry deleted": entry.delete,
        "entries updated": lambda: note.treatments.update(minutes=59),
        "entries updated in bulk": lambda: TreatmentEntry.objects.bulk_update([entry], ["minutes"]),
        "entries deleted": note.treatments.all().delete,
        "entry added": fresh.save,
        "entries added in bulk": lambda: TreatmentEntry.objects.bulk_create([fresh]),
        "flag saved": flag.save,
        "flags updated": lambda: RedFlagSeen.objects.filter(note=note).update(action="x"),
        "flags deleted": RedFlagSeen.objects.filter(note=note).delete,
        "addendum saved": addendum.save,
        "addenda updated": lambda: Addendum.objects.filter(note=note).update(text="x"),
        "addenda deleted": Addendum.objects.filter(note=note).delete,
    }


def test_no_path_of_the_models_changes_it(cast: Cast) -> None:
    note = whole(cast.therapist)
    before = VisitNote.objects.filter(pk=note.pk).values().get()
    for name, change in _by_the_model(note).items():
        assert refused(change), name
    assert VisitNote.objects.filter(pk=note.pk).values().get() == before
    assert list(note.treatments.values_list("minutes", flat=True)) == [40, 15]


def test_a_person_meets_a_sentence_and_not_the_database(cast: Cast) -> None:
    note, by = whole(cast.therapist), cast.other_therapist
    flag = RedFlag(RedFlagKind.CLOT, ())
    attempts: list[Callable[[], Any]] = [
        lambda: save_note(note=note, typed=typed(visit_min=70), revision=1, by=by),
        lambda: copy_forward(note=note, sections=[Section.PLAN], by=by),
        lambda: discard_note(note=note, by=by),
        lambda: sign_note(note=note, revision=note.revision, by=by),
        lambda: acknowledge_red_flag(note=note, flag=flag, action="x", by=by),
    ]
    for attempt in attempts:
        with pytest.raises(NoteKept) as error:
            attempt()
        assert "signed" in sentence(error.value)


def test_a_draft_takes_no_addendum(cast: Cast) -> None:
    with pytest.raises(NoteNotSigned) as error:
        add_addendum(note=draft(cast.therapist), text="x", by=cast.therapist)
    assert sentence(error.value) == "This note is not signed yet."


def test_a_draft_stays_open_to_change(cast: Cast) -> None:
    """The triggers refuse what is signed and nothing else."""
    note = ready(cast.therapist)
    note.treatments.update(minutes=20)
    VisitNote.objects.filter(pk=note.pk).update(plan="x")
    note.treatments.all().delete()
    note.delete()
    assert not VisitNote.objects.exists()


def test_cast_is_complete(db: None) -> None:
    assert signed(make_cast().lead).signature == "Leona Vale, PT"
