"""Everything recorded about some clients, in a fixed number of queries whatever their number."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any
from uuid import UUID

from django.db.models import Prefetch, QuerySet
from django.utils import timezone

from clinic.accounts.models import User
from clinic.accounts.selectors import practice_card
from clinic.clients.models import (
    Client,
    DrugTreatment,
    Episode,
    Irradiation,
    NodeSurgery,
    PrecautionFound,
    Surgery,
)
from clinic.clients.selectors import standing_clients
from clinic.exchange.rows import ClientRows
from clinic.letters.models import ProgressLetter
from clinic.visits.models import VisitNote
from clinic.visits.plans import Goal, PlanOfCare
from measurements.models import GirthSession, LimbFindings, OutcomeScore
from measurements.selectors.taped import joined, taped
from programmes.models import AdherenceRecord, Garment, Programme

# Clients whose rows are held at once: letters with their bytes weigh most.
CHUNK = 20

ByClient = dict[UUID, list[Any]]


def all_rows(*, chunk: int = 0) -> Iterator[ClientRows]:
    """Every client's rows, one after the other, with `chunk` clients in memory at a time."""
    for keys in chunks_of_clients(chunk or CHUNK):
        yield from rows_of(keys)


def chunks_of_clients(chunk: int) -> Iterator[list[UUID]]:
    """The keys of all clients in ascending order. One query a chunk."""
    last: UUID | None = None
    while True:
        found = standing_clients().order_by("pk").values_list("pk", flat=True)
        keys = list((found.filter(pk__gt=last) if last else found)[:chunk])
        if not keys:
            return
        yield keys
        last = keys[-1]


def rows_of(keys: Sequence[UUID]) -> Iterator[ClientRows]:
    """These clients in the order of their keys, each with all that is recorded."""
    clients = list(Client.objects.filter(pk__in=keys).select_related("referrer").order_by("pk"))
    by_name = {name: read(keys) for name, read in READERS.items()}
    users = {user.pk: user for user in User.objects.all()}
    practice, made_at = practice_card(), timezone.now()
    for client in clients:
        own = {name: tuple(found.get(client.pk, ())) for name, found in by_name.items()}
        yield ClientRows(
            practice=practice,
            zone=timezone.get_current_timezone(),
            made_at=made_at,
            client=client,
            staff={number: users[number] for number in sorted(set(_staff_of(own)))},
            **own,
        )


def _by_client(rows: Iterable[Any], key: Callable[[Any], UUID]) -> ByClient:
    found: ByClient = defaultdict(list)
    for row in rows:
        found[key(row)].append(row)
    return found


def _own(model: type[Any]) -> Callable[[Sequence[UUID]], ByClient]:
    """Rows that name their client themselves, in the model's own order."""

    def read(keys: Sequence[UUID]) -> ByClient:
        rows: QuerySet[Any] = model._default_manager.filter(client_id__in=keys)
        return _by_client(rows, lambda row: row.client_id)

    return read


def _of_episode(
    rows: Callable[[], QuerySet[Any]], *order: str
) -> Callable[[Sequence[UUID]], ByClient]:
    """Rows that name an episode, joined so that the client is at hand."""

    def read(keys: Sequence[UUID]) -> ByClient:
        found = rows().filter(episode__client_id__in=keys).select_related("episode")
        return _by_client(found.order_by(*order), lambda row: row.episode.client_id)

    return read


def _old_record_numbers(keys: Sequence[UUID]) -> ByClient:
    """Of the records merged into these."""
    found: ByClient = defaultdict(list)
    holders = Client.objects.filter(pk__in=keys, merged_from__isnull=False)
    ordered = holders.order_by("merged_from__record_number")
    for key, number in ordered.values_list("pk", "merged_from__record_number"):
        found[key].append(number)
    return found


def _episodes(keys: Sequence[UUID]) -> ByClient:
    found = Episode.objects.filter(client_id__in=keys).select_related("referrer")
    ordered = found.prefetch_related("regions", "phase_changes").order_by("opened_on", "pk")
    return _by_client(ordered, lambda row: row.client_id)


def _findings(keys: Sequence[UUID]) -> ByClient:
    found = LimbFindings.objects.filter(region__episode__client_id__in=keys)
    return _by_client(
        found.select_related("region__episode"), lambda row: row.region.episode.client_id
    )


def _tapings(keys: Sequence[UUID]) -> ByClient:
    found = joined(GirthSession.objects.filter(episode__client_id__in=keys))
    sessions = found.select_related("episode", "protocol", "taken_by", "struck_by")
    ordered = sessions.order_by("taken_on", "round", "recorded_at")
    return _by_client(taped(ordered).values(), lambda row: row.facts.client_id)


def _notes() -> QuerySet[VisitNote]:
    signed = VisitNote.objects.filter(signed_at__isnull=False).defer("signed", "copied")
    return signed.select_related("appointment").prefetch_related(
        "treatments__service", "red_flags", "addenda"
    )


def _plans() -> QuerySet[PlanOfCare]:
    goals = Goal.objects.select_related("plan").prefetch_related("reviews")
    signed = PlanOfCare.objects.filter(signed_at__isnull=False).defer("signed")
    return signed.prefetch_related(Prefetch("goals", goals))


def _programmes() -> QuerySet[Programme]:
    issued = Programme.objects.filter(issued_at__isnull=False)
    return issued.defer("handout", "situation", "choices", "precautions", "left_out", "dose")


def _letters() -> QuerySet[ProgressLetter]:
    kept = ProgressLetter.objects.filter(approved_at__isnull=False)
    return kept.select_related("referrer").defer("summary")


READERS: dict[str, Callable[[Sequence[UUID]], ByClient]] = {
    "old_record_numbers": _old_record_numbers,
    "episodes": _episodes,
    "surgeries": _own(Surgery),
    "node_surgeries": _own(NodeSurgery),
    "irradiations": _own(Irradiation),
    "drug_treatments": _own(DrugTreatment),
    "precautions": _own(PrecautionFound),
    "findings": _findings,
    "tapings": _tapings,
    "scores": _of_episode(OutcomeScore.objects.all, "scored_on", "recorded_at", "pk"),
    "notes": _of_episode(_notes, "visited_on", "begun_at"),
    "plans": _of_episode(_plans, "number"),
    "programmes": _of_episode(_programmes, "number"),
    "adherence": _of_episode(AdherenceRecord.objects.all, "recorded_on", "pk"),
    "garments": _of_episode(Garment.objects.all, "ordered_on", "issued_on", "pk"),
    "letters": _of_episode(_letters, "period_to", "compiled_at"),
}

# The people whom a resource names, by the attribute of its row.
NAMED = {
    "episodes": ("therapist_id",),
    "precautions": ("found_by_id",),
    "findings": ("found_by_id",),
    "scores": ("scored_by_id",),
    "notes": ("therapist_id", "signed_by_id", "cosigned_by_id"),
    "plans": ("signed_by_id",),
    "programmes": ("issued_by_id",),
    "adherence": ("recorded_by_id",),
    "letters": ("approved_by_id",),
}


def _staff_of(own: dict[str, tuple[Any, ...]]) -> Iterator[int]:
    named = (
        getattr(row, name) for kind, names in NAMED.items() for row in own[kind] for name in names
    )
    yield from (number for number in named if number is not None)
    yield from (each.session.taken_by_id for each in own["tapings"])
