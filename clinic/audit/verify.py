"""Whether the record still is what the chain says, read in a stream with bounded memory."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from django.db import connection, models, transaction
from django.db.models import Exists, OuterRef
from django.db.models.functions import Cast

from clinic.audit.chain import FIRST_HASH, link_hash, row_text, values_digest
from clinic.audit.models import Change, Entry, Link, Unchained

# Rows fetched at a time: enough that asking costs little, few enough to hold.
CHUNK = 2000
# No more of one kind of fault than this is listed; the rest is counted.
MOST_LISTED = 20

ENTRY_FIELDS = (
    "id",
    "at",
    "by_id",
    "verb",
    "client_id",
    "subject",
    "came_from",
    "session_mark",
    "act",
)
CHANGE_FIELDS = (
    "id",
    "at",
    "act",
    "table",
    "row",
    "client_id",
    "is_deletion",
    "digest",
    "database_user",
)


@dataclass(frozen=True, slots=True)
class Head:
    """A place in the chain and its hash: what a clinic writes down and keeps elsewhere."""

    position: int
    hash: str

    def __str__(self) -> str:
        return f"{self.position}:{self.hash}"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is not as it was written: a sentence, at a place or a row."""

    sentence: str


@dataclass
class Verification:
    """What a check found. `head` is None where nothing has been recorded."""

    links: int = 0
    erased: int = 0
    head: Head | None = None
    faults: list[Fault] = field(default_factory=list)
    faults_not_listed: int = 0

    @property
    def is_intact(self) -> bool:
        return not self.faults

    def add(self, sentence: str) -> None:
        if len(self.faults) < MOST_LISTED:
            self.faults.append(Fault(sentence))
        else:
            self.faults_not_listed += 1


def verified(noted: Head | None = None) -> Verification:
    """Recompute the whole chain, as it stood at one moment.

    `noted` is a head kept elsewhere: it must still be a place of the chain. Without it a chain
    rewritten or cut off as a whole looks like any other.
    """
    found = Verification()
    with _one_moment():
        _walk(found, noted)
        _unlinked(found)
        _blanked(found)
        _switched_off(found)
    if noted is not None and noted.position > (found.head.position if found.head else 0):
        found.add(f"the chain ends before the noted head at position {noted.position}")
    return found


@contextmanager
def _one_moment() -> Iterator[None]:
    """One snapshot for all that is read, so that what is written meanwhile is no fault."""
    is_outermost = not connection.in_atomic_block
    with transaction.atomic():
        if is_outermost:
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
        yield


def _walk(found: Verification, noted: Head | None) -> None:
    """Every link in its order. After a fault the chain goes on from what stands there."""
    before = Head(0, FIRST_HASH)
    for row in _links():
        here = Head(row["position"], row["hash"])
        if here.position != before.position + 1:
            found.add(f"{_missing(before.position + 1, here.position - 1)} missing")
        elif row["previous_hash"] != before.hash:
            found.add(f"position {here.position} does not follow the link before it")
        _check_row(found, row)
        if noted is not None and noted.position == here.position and noted.hash != here.hash:
            found.add(f"position {here.position} is not what the noted head says")
        found.links, before = found.links + 1, here
    found.head = before if found.links else None


def _check_row(found: Verification, row: dict[str, Any]) -> None:
    """The link's hash, and the values of a change against their digest."""
    position = row["position"]
    kind = "entry" if row["entry_id"] is not None else "change"
    fields = [row[f"{kind}__{name}"] for name in (ENTRY_FIELDS, CHANGE_FIELDS)[kind == "change"]]
    if row[f"{kind}__at"] is None:
        found.add(f"position {position}: its {kind} {row[f'{kind}_id']} is missing")
        return
    told = row_text(kind, fields)
    if link_hash(position=position, previous_hash=row["previous_hash"], told=told) != row["hash"]:
        found.add(f"position {position}: {kind} {fields[0]} is not as it was written")
    elif kind == "change":
        _check_values(found, row)


def _check_values(found: Verification, row: dict[str, Any]) -> None:
    if row["told_values"] is None and row["change__salt"] is None:
        found.erased += 1
    elif values_digest(str(row["change__salt"]), row["told_values"] or "") != row["change__digest"]:
        found.add(
            f"position {row['position']}: the values of change {row['change_id']} are not as they"
            " were written"
        )


def _links() -> Iterator[dict[str, Any]]:
    values_text = Cast("change__values", models.TextField())
    names = [f"entry__{name}" for name in ENTRY_FIELDS]
    names += [f"change__{name}" for name in CHANGE_FIELDS]
    return (
        Link.objects.order_by("position")
        .annotate(told_values=values_text)
        .values(
            *("position", "entry_id", "change_id", "previous_hash", "hash", "change__salt"),
            *("told_values", *names),
        )
        .iterator(chunk_size=CHUNK)
    )


def _unlinked(found: Verification) -> None:
    """Entries and changes that the chain does not hold."""
    for kind, model in (("entry", Entry), ("change", Change)):
        without = model._default_manager.filter(link=None).order_by("pk")
        for key in without.values_list("pk", flat=True).iterator(chunk_size=CHUNK):
            found.add(f"{kind} {key} has no link")


def _blanked(found: Verification) -> None:
    """Values that are gone although their client was not erased, which alone takes them away."""
    clients = Entry._meta.get_field("client").related_model._default_manager
    standing = clients.filter(pk=OuterRef("client_id"), erased_at=None)
    gone = Change.objects.filter(Exists(standing), values__isnull=True).order_by("pk")
    for key in gone.values_list("pk", flat=True).iterator(chunk_size=CHUNK):
        found.add(f"the values of change {key} were taken away, and its client was not erased")


# Triggers that no longer run; and those of this record that are not there at all.
SWITCHED_OFF = """
SELECT tgrelid::regclass::text, tgname FROM pg_trigger
WHERE tgenabled = 'D' AND pg_table_is_visible(tgrelid) ORDER BY 1, 2
"""
THERE = "SELECT tgname FROM pg_trigger WHERE tgrelid = %s::regclass"


def _switched_off(found: Verification) -> None:
    """What keeps the record has to be in force: without it a change leaves no trace to verify."""
    with connection.cursor() as cursor:
        cursor.execute(SWITCHED_OFF)
        for table, name in cursor.fetchall():
            found.add(f"trigger {name} of {table} is switched off")
        for model in (Entry, Change, Link, Unchained):
            table = model._meta.db_table
            cursor.execute(THERE, [table])
            names = {name for (name,) in cursor.fetchall()}
            for trigger in model._meta.triggers:  # type: ignore[attr-defined]
                if trigger.get_pgid(model) not in names:
                    found.add(f"trigger {trigger.get_pgid(model)} of {table} is missing")


def _missing(first: int, last: int) -> str:
    return f"position {first} is" if first == last else f"positions {first} to {last} are"
