"""The recall list: everybody who is due, computed in one pass."""

from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.conf import settings
from django.contrib.postgres.aggregates import ArrayAgg
from django.core.paginator import Page, Paginator
from django.db.models import Max, Min, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import TruncDate
from django.utils import timezone
from django.utils.module_loading import import_string

from clinic.accounts import permits
from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.clients.selectors import with_phase
from clinic.common.vocabulary import Phase
from clinic.scheduling import recalls as rules
from clinic.scheduling.models import Appointment, RecallSchedule, RecallSnooze
from clinic.scheduling.recalls import Ask, BookedFacts, CareFacts, ClientFacts, Recall
from clinic.scheduling.selectors.authorisations import STILL_TO_COME, latest_covers, starts_at
from clinic.scheduling.staff_time import AppointmentKind
from clinic.scheduling.states import FREED, HOLDING, Status
from clinic.scheduling.words import Purpose, RecallReason
from measurements.models import GirthSession
from measurements.selectors.plateaus import ready_for_garments
from programmes.selectors.garments import replacement_of_episode

LIST_LENGTH = 40
# What apps above this one find due: (today) -> client id -> recalls.
RecallSource = Callable[[date], Mapping[UUID, Sequence[Recall]]]
MEASURING = [Purpose.EVALUATION, Purpose.REMEASUREMENT]


@dataclass(frozen=True, slots=True)
class RecallLine:
    """One line of the list. No clinical field: anybody of the practice may see it."""

    client_id: UUID
    client_name: str
    record_number: str
    phone: str
    therapist_id: int | None
    therapist: str
    recall: Recall
    next_on: date | None
    is_overdue: bool
    snoozed_until: date | None = None
    snooze_reason: str = ""


@dataclass(frozen=True)
class Filter:
    """What the list was asked for; None: all."""

    reason: RecallReason | None = None
    therapist_id: int | None = None
    includes_snoozed: bool = False
    page: str = "1"


@dataclass(frozen=True)
class RecallList:
    """One page of the list, and how many there are of each reason before filtering by it."""

    page: Page[tuple[UUID, Recall]]
    lines: Sequence[RecallLine]
    counts: Mapping[RecallReason, int]
    total: int


@dataclass(frozen=True, slots=True)
class _Person:
    name: str
    record_number: str
    phone: str
    therapist_id: int | None = None
    therapist: str = ""


@dataclass
class _Gathered:
    """Facts and people by client, being filled."""

    people: dict[UUID, _Person]
    facts: dict[UUID, ClientFacts]


Found = tuple[UUID, Recall]
Snoozed = Mapping[tuple[UUID, str], tuple[date, str]]


def recall_list(user: User, wanted: Filter, *, today: date) -> RecallList:
    """Everybody due, longest overdue first. Nine queries at most, whatever the number of
    clients."""
    gathered, found, snoozed = _everybody_due(user, Ask(today))
    if wanted.therapist_id is not None:
        people = gathered.people
        found = [one for one in found if people[one[0]].therapist_id == wanted.therapist_id]
    if not wanted.includes_snoozed:
        found = [one for one in found if (one[0], one[1].reason) not in snoozed]
    counts = Counter(recall.reason for _, recall in found)
    shown = [one for one in found if wanted.reason in (None, one[1].reason)]
    page = Paginator(shown, LIST_LENGTH).get_page(wanted.page)
    lines = [_line(gathered, one, snoozed, today) for one in page.object_list]
    return RecallList(page, lines, {one: counts[one] for one in RecallReason}, len(found))


def recall_lines(user: User, ask: Ask) -> list[RecallLine]:
    """Every line, snoozed ones too, longest overdue first. Nine queries at most."""
    gathered, found, snoozed = _everybody_due(user, ask)
    return [_line(gathered, one, snoozed, ask.today) for one in found]


def _everybody_due(user: User, ask: Ask) -> tuple[_Gathered, list[Found], Snoozed]:
    if not permits.may(user, "schedule.see"):
        return _Gathered({}, {}), [], {}
    gathered = _gathered(ask)
    found = sorted(
        rules.recalls(gathered.facts, ask),
        key=lambda one: (one[1].due_on, gathered.people[one[0]].name, one[0]),
    )
    return gathered, found, _snoozed(ask.today)


def _gathered(ask: Ask) -> _Gathered:
    booked, covers, told = _booked(timezone.now()), latest_covers(), _told(ask)
    people, episodes, discharged = _care(ask, booked)
    freed = {key: row.person for key, row in booked.items() if row.facts.last_freed_on}
    covered = {key: _person(*row.person) for key, row in covers.items()}
    # Without an episode, too: an evaluation was booked and not kept.
    people = {key: who for key, who in (freed | covered).items() if key not in discharged} | people
    facts = {
        key: ClientFacts(
            episodes=tuple(episodes.get(key, ())),
            is_discharged=key in discharged,
            booked=booked[key].facts if key in booked else BookedFacts(),
            cover=covers[key].cover if key in covers else None,
            told=tuple(told.get(key, ())),
        )
        for key in people
    }
    return _Gathered(people, facts)


def _told(ask: Ask) -> dict[UUID, list[Recall]]:
    """What the apps above this one find due; `RECALL_SOURCES` names their selectors."""
    found: dict[UUID, list[Recall]] = defaultdict(list)
    for name in settings.RECALL_SOURCES:
        source: RecallSource = import_string(name)
        for client_id, recalls in source(ask.today).items():
            found[client_id].extend(recalls)
    return found


PERSON = ("client__given_name", "client__family_name", "client__record_number", "client__phone")
EPISODE_COLUMNS = (
    "client_id",
    *PERSON,
    "therapist_id",
    "therapist__display_name",
    "pk",
    "opened_on",
    "phase_now",
    "phase_since_on",
    "last_taped_on",
    "every_months",
    "garment_due_on",
)


def _care(
    ask: Ask, booked: Mapping[UUID, "_BookedRow"]
) -> tuple[dict[UUID, _Person], dict[UUID, list[CareFacts]], set[UUID]]:
    """People with an open episode, their episodes, and the clients whose every one is closed."""
    level, rows = ready_for_garments(ask.today), _episodes()
    people: dict[UUID, _Person] = {}
    episodes: dict[UUID, list[CareFacts]] = defaultdict(list)
    closed: set[UUID] = set()
    for client_id, *person, pk, opened_on, phase, since_on, taped_on, months, garment_on in rows:
        if phase == Phase.DISCHARGED:
            closed.add(client_id)
            continue
        people[client_id] = _person(*person)
        treated = booked[client_id].treated_since(opened_on) if client_id in booked else 0
        known = (opened_on, Phase(phase), since_on, taped_on, months, treated, garment_on)
        episodes[client_id].append(CareFacts(*known, level.get(pk)))
    return people, episodes, closed - people.keys()


def _episodes() -> QuerySet[Any, Any]:
    """Episodes of active clients, first opened first, with what they are due by. One query."""
    taped = GirthSession.objects.filter(episode=OuterRef("pk"), struck_at=None).order_by()
    schedule = RecallSchedule.objects.filter(episode=OuterRef("pk"))
    active = Episode.objects.filter(client__deactivated_at=None)
    dated = with_phase(active).annotate(
        last_taped_on=Subquery(taped.order_by("-taken_on").values("taken_on")[:1]),
        every_months=Subquery(schedule.values("every_months")[:1]),
        garment_due_on=replacement_of_episode(),
    )
    return dated.order_by("opened_on").values_list(*EPISODE_COLUMNS)


def _person(given: str, family: str, *rest: Any) -> _Person:
    return _Person(f"{given} {family}", *rest)


@dataclass(frozen=True, slots=True)
class _BookedRow:
    """What a client's bookings say, whose they are, and the days of every treatment done."""

    person: _Person
    facts: BookedFacts
    treated_on: Sequence[date]

    def treated_since(self, on: date) -> int:
        """Treatments done from a day on."""
        return sum(day >= on for day in self.treated_on)


def _booked(now: datetime) -> dict[UUID, _BookedRow]:
    """What the bookings of every active client say, in days: one query, one row a client."""
    rows = _booked_rows(Appointment.objects.filter(client__deactivated_at=None), now, *PERSON)
    return {
        client_id: _BookedRow(_person(*told[:4]), BookedFacts(*told[5:]), told[4])
        for client_id, *told in rows
    }


def booked_facts(
    clients: QuerySet[Any, Any], now: datetime
) -> dict[UUID, tuple[BookedFacts, Sequence[date]]]:
    """Client id -> what the bookings say, and the days of every treatment done. One query.

    `clients` is a query of keys; a client never booked is absent.
    """
    rows = _booked_rows(Appointment.objects.filter(client__in=clients), now)
    return {client_id: (BookedFacts(*days), treated) for client_id, treated, *days in rows}


def _booked_rows(
    appointments: QuerySet[Appointment], now: datetime, *person: str
) -> QuerySet[Any, Any]:
    held, freed = Q(status__in=sorted(HOLDING)), Q(status__in=sorted(FREED))
    ahead = Q(status__in=STILL_TO_COME, period__endswith__gt=now)
    on = TruncDate(starts_at())
    return (
        appointments.order_by()
        .values("client", *person)
        .annotate(
            treated=ArrayAgg(
                on, filter=Q(status=Status.DONE, kind__purpose=Purpose.TREATMENT), default=[]
            ),
            last_freed=Max(on, filter=freed),
            last_held=Max(on, filter=held),
            next_on=Min(on, filter=ahead),
            next_measuring=Min(on, filter=ahead & Q(kind__purpose__in=MEASURING)),
            next_fitting=Min(on, filter=ahead & Q(kind__purpose=Purpose.GARMENT_FITTING)),
        )
        .values_list("client", *person, "treated", *DAYS)
    )


DAYS = ("last_freed", "last_held", "next_on", "next_measuring", "next_fitting")


def _snoozed(today: date) -> dict[tuple[UUID, str], tuple[date, str]]:
    """What is put off beyond today: until when and why, the latest word of each."""
    rows = RecallSnooze.objects.order_by("at", "pk").values_list(
        "client_id", "recall", "until_on", "reason"
    )
    latest = {(client_id, recall): (until_on, why) for client_id, recall, until_on, why in rows}
    return {key: said for key, said in latest.items() if said[0] > today}


def _line(gathered: _Gathered, found: Found, snoozed: Snoozed, today: date) -> RecallLine:
    client_id, recall = found
    person = gathered.people[client_id]
    until_on, why = snoozed.get((client_id, recall.reason), (None, ""))
    return RecallLine(
        client_id=client_id,
        client_name=person.name,
        record_number=person.record_number,
        phone=person.phone,
        therapist_id=person.therapist_id,
        therapist=person.therapist,
        recall=recall,
        next_on=gathered.facts[client_id].booked.next_on,
        is_overdue=recall.is_overdue(today),
        snoozed_until=until_on,
        snooze_reason=why,
    )


def months_kept(episode: Episode) -> int | None:
    """Months between re-measurements where they differ from the usual. One query."""
    kept = RecallSchedule.objects.filter(episode=episode).values_list("every_months", flat=True)
    return kept.first()


# What is booked to answer a recall; where nothing stands, the desk chooses.
ANSWERED_BY = {
    RecallReason.REMEASUREMENT: Purpose.REMEASUREMENT,
    RecallReason.NOTHING_BOOKED: Purpose.TREATMENT,
    RecallReason.PROGRESS_REPORT: Purpose.REMEASUREMENT,
    RecallReason.GARMENT: Purpose.GARMENT_FITTING,
    RecallReason.GARMENTS_READY: Purpose.GARMENT_FITTING,
}


def kinds_for_recalls() -> dict[str, int]:
    """The kind of appointment that answers each reason, if the practice has one. One query."""
    rows = AppointmentKind.objects.filter(is_active=True).order_by("-place", "-name")
    by_purpose = dict(rows.values_list("purpose", "pk"))
    return {
        reason.value: by_purpose[purpose]
        for reason, purpose in ANSWERED_BY.items()
        if purpose in by_purpose
    }
