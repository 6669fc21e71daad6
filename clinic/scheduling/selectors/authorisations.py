"""Authorised visits: what is used, booked and left, always counted afresh."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import (
    Count,
    DateTimeField,
    Exists,
    F,
    Func,
    IntegerField,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
)
from django.db.models.functions import Coalesce, TruncDate

from clinic.accounts import permits
from clinic.accounts.models import User
from clinic.clients.models import Client
from clinic.common.vocabulary import Word
from clinic.scheduling.models import Appointment, Authorisation
from clinic.scheduling.recalls import FEW_VISITS_LEFT, Cover
from clinic.scheduling.states import HOLDING, Status

COVER_COLUMNS = ("client_id", "from_on", "to_on", "visits", "used", "booked")
STILL_TO_COME = sorted(HOLDING - {Status.DONE})


class CoverNote(Word):
    """What the desk should know before it books. It warns; it never stands in the way."""

    NONE_COVERS = "none_covers", "no authorisation covers this day"
    LAST_VISITS = "last_visits", "few authorised visits left"
    USED_UP = "used_up", "all authorised visits are used or booked"
    ENDS_SOON = "ends_soon", "the authorisation ends soon"


@dataclass(frozen=True)
class Standing:
    """An authorisation and how it stands on a day."""

    authorisation: Authorisation
    cover: Cover
    is_current: bool
    is_running_out: bool


@dataclass(frozen=True)
class CoverWarning:
    """Something to say at booking; `standing` is None when nothing covers the day."""

    note: CoverNote
    standing: Standing | None = None


def authorisations_for(user: User) -> QuerySet[Authorisation]:
    """The authorisations this person may see; what is not in it is a 404."""
    if not permits.may(user, "schedule.see"):
        return Authorisation.objects.none()
    return Authorisation.objects.select_related("client")


def standings(client: Client, *, on: date) -> list[Standing]:
    """A client's authorisations as they stand on a day, the last to end first. One query."""
    return [_standing(row, on) for row in _counted(Authorisation.objects.filter(client=client))]


def cover_warnings(client: Client, *, on: date, today: date) -> list[CoverWarning]:
    """What to say when a visit is booked for a day. Nothing for a client without any
    authorisation on record: not every payer asks for one. One query.
    """
    known = standings(client, on=on)
    covering = [one for one in known if one.is_current]
    if known and not covering:
        return [CoverWarning(CoverNote.NONE_COVERS)]
    return [warning for one in covering for warning in _warnings(one, today)]


@dataclass(frozen=True, slots=True)
class Covered:
    """The last authorisation of a client; `person`: both names, record number and phone."""

    cover: Cover
    person: tuple[str, ...]


def latest_covers() -> dict[UUID, Covered]:
    """Of each active client the authorisation that ends last. One query."""
    later = Authorisation.objects.filter(client=OuterRef("client")).filter(
        Q(to_on__gt=OuterRef("to_on")) | Q(to_on=OuterRef("to_on"), pk__gt=OuterRef("pk"))
    )
    last = Authorisation.objects.filter(client__deactivated_at=None).exclude(Exists(later))
    names = ("client__given_name", "client__family_name", "client__record_number", "client__phone")
    rows = _counted(last).values_list(*COVER_COLUMNS, *names)
    return {client_id: Covered(Cover(*rest[:5]), tuple(rest[5:])) for client_id, *rest in rows}


def covers_on(client_ids: Collection[UUID], *, on: date) -> dict[UUID, list[Cover]]:
    """The authorisations whose period holds a day, by client. One query."""
    rows = _counted(
        Authorisation.objects.filter(client__in=client_ids, from_on__lte=on, to_on__gte=on)
    )
    found: dict[UUID, list[Cover]] = defaultdict(list)
    for client_id, *rest in rows.values_list(*COVER_COLUMNS):
        found[client_id].append(Cover(*rest))
    return found


def _counted(authorisations: QuerySet[Authorisation]) -> QuerySet[Authorisation]:
    """Adds `used` (done) and `booked` (still to come), in the same query.

    An appointment that names no authorisation counts for each one whose period holds its day.
    """
    on = TruncDate(starts_at())
    counting = (
        Appointment.objects.filter(client=OuterRef("client"))
        .alias(on=on)
        .filter(
            Q(authorisation=OuterRef("pk"))
            | Q(authorisation=None, on__gte=OuterRef("from_on"), on__lte=OuterRef("to_on"))
        )
        .order_by()
        .values("client")
    )
    return authorisations.annotate(
        used=_number(counting.filter(status=Status.DONE)),
        booked=_number(counting.filter(status__in=STILL_TO_COME)),
    ).order_by("-to_on", "-pk")


def starts_at() -> Func:
    """When an appointment begins, for use in a query."""
    return Func(F("period"), function="lower", output_field=DateTimeField())


def _number(rows: QuerySet[Any, Any]) -> Coalesce:
    counted = Subquery(rows.annotate(number=Count("pk")).values("number"), IntegerField())
    return Coalesce(counted, 0)


def _standing(row: Authorisation, on: date) -> Standing:
    cover = Cover(row.from_on, row.to_on, row.visits, row.used, row.booked)  # type: ignore[attr-defined]
    return Standing(
        authorisation=row,
        cover=cover,
        is_current=row.from_on <= on <= row.to_on,
        is_running_out=cover.is_running_out(on),
    )


def _warnings(standing: Standing, today: date) -> list[CoverWarning]:
    cover = standing.cover
    if cover.left <= 0:
        return [CoverWarning(CoverNote.USED_UP, standing)]
    if cover.is_running_out(today):
        few = cover.left <= FEW_VISITS_LEFT
        return [CoverWarning(CoverNote.LAST_VISITS if few else CoverNote.ENDS_SOON, standing)]
    return []
