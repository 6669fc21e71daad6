"""Many signed notes with valid seals: copies of one, each under its own id."""

import json
from collections.abc import Iterator, Sequence
from typing import Any
from uuid import UUID, uuid5

from django.db import connection

from clinic.visits.models import TreatmentEntry, VisitNote
from clinic.visits.seal import seal_of

SPACE = UUID("9d8f6a52-1c7e-4b0a-9a43-3f0d6f4c2f11")
FIRST_ENTRY = 1_000_000


def fill_notes(pattern: VisitNote, episode_ids: Sequence[UUID], *, notes: int) -> None:
    """Copy a signed note with its treatments; they go round the episodes, oldest first.

    The triggers sleep meanwhile: a hundred thousand true rows need no asking.
    """
    entries = list(pattern.treatments.order_by("pk").values())
    row = VisitNote.objects.filter(pk=pattern.pk).values().get()
    with connection.cursor() as cursor:
        _triggers(cursor, "DISABLE")
        _copy(cursor, TreatmentEntry, (row for n in range(notes) for row in _entries(entries, n)))
        _copy(cursor, VisitNote, _notes(row, episode_ids, notes, len(entries)))
        _triggers(cursor, "ENABLE")
        cursor.execute("ANALYZE visits_visitnote, visits_treatmententry")


def _triggers(cursor: Any, how: str) -> None:
    """What the transaction still owes the foreign keys is paid first."""
    cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
    for model in (TreatmentEntry, VisitNote):
        cursor.execute(f"ALTER TABLE {model._meta.db_table} {how} TRIGGER USER")
    cursor.execute("SET CONSTRAINTS ALL DEFERRED")


def _copy(cursor: Any, model: Any, rows: Iterator[dict[str, Any]]) -> None:
    columns = [field.attname for field in model._meta.concrete_fields]
    named = ", ".join(f'"{name}"' for name in columns)
    with cursor.copy(f"COPY {model._meta.db_table} ({named}) FROM STDIN") as copy:
        for row in rows:
            copy.write_row([_written(row[name]) for name in columns])


def _written(value: Any) -> Any:
    return json.dumps(value) if isinstance(value, dict | list) else value


def _entries(entries: Sequence[dict[str, Any]], n: int) -> Iterator[dict[str, Any]]:
    for place, entry in enumerate(entries):
        yield entry | {"id": FIRST_ENTRY + n * len(entries) + place, "note_id": _id(n)}


def _id(n: int) -> UUID:
    return uuid5(SPACE, str(n))


def _notes(
    row: dict[str, Any], episode_ids: Sequence[UUID], notes: int, entries: int
) -> Iterator[dict[str, Any]]:
    content = row["signed"]
    for n in range(notes):
        episode_id = episode_ids[n % len(episode_ids)]
        signed = content | {
            "note": content["note"] | {"id": str(_id(n)), "episode_id": str(episode_id)},
            "treatments": [
                entry | {"id": FIRST_ENTRY + n * entries + place}
                for place, entry in enumerate(content["treatments"])
            ],
        }
        own = {"id": _id(n), "episode_id": episode_id, "signed": signed, "seal": seal_of(signed)}
        yield row | own
