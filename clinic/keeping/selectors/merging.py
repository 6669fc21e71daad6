"""Two records side by side, and what merging them would do."""

from collections import Counter
from dataclasses import dataclass
from datetime import date
from typing import Any, NamedTuple

from django.db.models import Model, Q, UniqueConstraint

from clinic.clients.models import Client
from clinic.common.vocabulary import Sex
from clinic.keeping.belongings import direct_references
from clinic.keeping.words import kind_of
from clinic.scheduling.models import HELD, Appointment
from clinic.scheduling.states import FINAL, Status

# The details that a person chooses between. The record number is always that of the kept record.
DETAILS = (
    "given_name",
    "family_name",
    "born_on",
    "sex",
    "phone",
    "email",
    "street",
    "town",
    "referrer",
    "agrees_to_letters",
)


@dataclass(frozen=True)
class Difference:
    """A detail on which the two records differ; `takes_other` is what is offered."""

    name: str
    label: str
    kept: str
    other: str
    takes_other: bool


class Overlap(NamedTuple):
    """A booking of each of two records, at the same time: one person cannot come to both."""

    mine: Appointment
    theirs: Appointment

    @property
    def is_final(self) -> bool:
        """Neither can be cancelled or moved any more, so that the two cannot be merged."""
        return {Status(self.mine.status), Status(self.theirs.status)} <= FINAL


@dataclass(frozen=True)
class MergePreview:
    """What merging `other` into `kept` would do."""

    kept: Client
    other: Client
    differences: tuple[Difference, ...]
    moving: tuple[tuple[str, int], ...]  # (kind of row, number)
    staying: tuple[tuple[str, int], ...]  # rows that `kept` has alike already
    overlaps: tuple[Overlap, ...]

    @property
    def is_barred(self) -> bool:
        return any(overlap.is_final for overlap in self.overlaps)

    @property
    def reactivates(self) -> bool:
        """The kept record was deactivated and the other was not: the person is in care."""
        return self.other.is_active and not self.kept.is_active


def merge_preview(*, kept: Client, other: Client) -> MergePreview:
    """A fixed number of queries for each table that names a client."""
    moving, staying = Counter[str](), Counter[str]()
    for model, field in direct_references():
        name = kind_of(model)
        twins = twin_keys(model, field.name, kept, other)
        total = model._base_manager.filter(**{field.name: other}).count()
        moving[name] += total - len(twins)
        staying[name] += len(twins)
    return MergePreview(
        kept=kept,
        other=other,
        differences=tuple(_differences(kept, other)),
        moving=_counted(moving),
        staying=_counted(staying),
        overlaps=tuple(overlapping(kept, other)),
    )


def overlapping(kept: Client, other: Client) -> list[Overlap]:
    """Bookings of the two at the same time. Two queries."""
    held = Appointment.objects.filter(HELD).select_related("client", "kind", "therapist")
    ours = list(held.filter(client=kept))
    return [
        Overlap(mine, theirs)
        for theirs in held.filter(client=other)
        for mine in ours
        if mine.period.lower < theirs.period.upper and theirs.period.lower < mine.period.upper
    ]


def twin_keys(model: type[Model], name: str, kept: Client, other: Client) -> set[Any]:
    """Rows of `other` that only one record may have and `kept` has: they stay where they are."""
    twins: set[Any] = set()
    for fields, condition in _unique_per_client(model, name):
        rows = model._base_manager.filter(condition)
        taken = {tuple(row)[1:] for row in rows.filter(**{name: kept}).values_list("pk", *fields)}
        theirs = rows.filter(**{name: other}).values_list("pk", *fields)
        twins |= {key for key, *values in theirs if tuple(values) in taken}
    return twins


def _unique_per_client(model: type[Model], name: str) -> list[tuple[tuple[str, ...], Q]]:
    """(other fields, condition) of each rule that a client has something once."""
    rules = [
        (tuple(field for field in rule.fields if field != name), rule.condition or Q())
        for rule in model._meta.constraints
        if isinstance(rule, UniqueConstraint) and name in rule.fields
    ]
    if getattr(model._meta.get_field(name), "unique", False):
        rules.append(((), Q()))
    return rules


def _differences(kept: Client, other: Client) -> list[Difference]:
    found = []
    for name in DETAILS:
        mine, theirs = getattr(kept, name), getattr(other, name)
        if mine != theirs:
            field = Client._meta.get_field(name)
            label = str(field.verbose_name)  # type: ignore[union-attr]
            offered = _offers_other(name, mine, theirs)
            found.append(
                Difference(
                    name,
                    label[:1].upper() + label[1:],
                    _said(kept, name),
                    _said(other, name),
                    offered,
                )
            )
    return found


def _offers_other(name: str, mine: Any, theirs: Any) -> bool:
    """What is missing is filled in; a client who once said no to letters has said no."""
    if name == "agrees_to_letters":
        return not theirs
    missing = {None, "", Sex.NOT_SAID.value}
    return mine in missing and theirs not in missing


def _said(client: Client, name: str) -> str:
    display = getattr(client, f"get_{name}_display", None)
    value = display() if display else getattr(client, name)
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:%-d %b %Y}" if isinstance(value, date) else str(value or "(empty)")


def _counted(counts: Counter[str]) -> tuple[tuple[str, int], ...]:
    return tuple(sorted((name, count) for name, count in counts.items() if count))
