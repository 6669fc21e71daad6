"""Whether what was signed still is what was sealed, read in a stream with bounded memory."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar

from django.db.models import Model, QuerySet

from clinic.visits import snapshot
from clinic.visits.models import Addendum, VisitNote
from clinic.visits.plans import PlanOfCare
from clinic.visits.seal import is_intact, seal_of

# Rows fetched at a time: enough that asking costs little, few enough to hold.
CHUNK = 500

Content = Mapping[str, Any]
Row = TypeVar("Row", bound=Model)


@dataclass(frozen=True, slots=True)
class Checked:
    """One signed thing: "note", "co-signature", "addendum" or "plan", its id and the verdict."""

    kind: str
    id: str
    is_intact: bool


def checked_all() -> Iterator[Checked]:
    """Everything signed, one after the other, in the order of its ids."""
    yield from _notes()
    yield from (
        _checked("addendum", row, seal_of(snapshot.addendum_content(row)) == row.seal)
        for row in _streamed(Addendum.objects.all())
    )
    plans = PlanOfCare.objects.filter(signed_at__isnull=False).prefetch_related("goals")
    yield from (_checked("plan", row, _plan_is_intact(row)) for row in _streamed(plans))


def _notes() -> Iterator[Checked]:
    signed = VisitNote.objects.filter(signed_at__isnull=False)
    for note in _streamed(signed.prefetch_related("treatments", "red_flags")):
        yield _checked("note", note, _note_is_intact(note))
        if note.cosigned_at is not None:
            yield _checked("co-signature", note, _cosignature_is_intact(note))


def _note_is_intact(note: VisitNote) -> bool:
    """The content has its seal, and the rows still are what it says."""
    content: Content = note.signed or {}
    if not is_intact(content, seal=note.seal):
        return False
    rows = snapshot.stored_rows(note, note.treatments.all(), note.red_flags.all())
    return all(content[name] == stored for name, stored in rows.items())


def _cosignature_is_intact(note: VisitNote) -> bool:
    return seal_of(snapshot.cosignature_content(note)) == note.cosignature_seal


GOAL_COLUMNS = ("text", "measure", "instrument", "baseline", "target", "due_on")


def _plan_is_intact(plan: PlanOfCare) -> bool:
    """The same of a plan of care: its columns, its goals in their order, and who signed when."""
    content: Content = plan.signed or {}
    if not is_intact(content, seal=plan.seal) or plan.signed_at is None:
        return False
    own, signing = content["plan"], content["signed"]
    goals = [{name: goal[name] for name in GOAL_COLUMNS} for goal in content["goals"]]
    return (
        snapshot.columns_of(plan, own) == own
        and [snapshot.columns_of(goal, GOAL_COLUMNS) for goal in plan.goals.all()] == goals
        and (signing["by"], signing["user_id"]) == (plan.signature, plan.signed_by_id)
        and datetime.fromisoformat(signing["at"]) == plan.signed_at.replace(microsecond=0)
    )


def _streamed(rows: QuerySet[Row]) -> Iterator[Row]:
    """By a cursor on the server, a chunk at a time."""
    return rows.order_by("pk").iterator(chunk_size=CHUNK)


def _checked(kind: str, row: Model, is_intact: bool) -> Checked:
    return Checked(kind, str(row.pk), is_intact)
