"""The recall list: everybody who is due, computed in one pass."""

from collections import Counter, defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.core.paginator import Page, Paginator
from django.db.models import Count, F, Max, Min, Q
from django.db.models.functions import TruncDate
from django.utils import timezone

from clinic.accounts import permits
from clinic.accounts.models import User
from clinic.clients.models import Client, Episode
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

LIST_LENGTH = 40
# Garments and plans of care are not recorded yet, so these two are not offered.
COMPUTED = tuple(
    reason
    for reason in RecallReason
    if reason not in {RecallReason.GARMENT, RecallReason.PLAN_ENDING}
)
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
    """Everybody due, longest overdue first. Eight queries, whatever the number of clients."""
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
    return RecallList(page, lines, {one: counts[one] for one in COMPUTED}, len(found))


def recall_lines(user: User, ask: Ask) -> list[RecallLine]:
    """Every line, snoozed ones too, longest overdue first. Eight queries."""
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
    booked = _booked(timezone.now())
    people, episodes, discharged = _care()
    covers = latest_covers(ask.today)
    freed = {key for key, facts in booked.items() if facts.last_freed_on is not None}
    people |= _people((freed | covers.keys()) - people.keys() - discharged)
    facts = {
        key: ClientFacts(
            episodes=tuple(episodes.get(key, ())),
            is_discharged=key in discharged,
            booked=booked.get(key, BookedFacts()),
            cover=covers.get(key),
        )
        for key in people
    }
    return _Gathered(people, facts)


EPISODE_COLUMNS = (
    "pk",
    "client_id",
    "client__given_name",
    "client__family_name",
    "client__record_number",
    "client__phone",
    "therapist_id",
    "therapist__display_name",
    "opened_on",
    "phase_now",
    "phase_since_on",
)


def _care() -> tuple[dict[UUID, _Person], dict[UUID, list[CareFacts]], set[UUID]]:
    """People with an open episode, their episodes, and the clients whose every one is closed."""
    taped, schedules, treated = _last_taped(), _schedules(), _treatments_done()
    people: dict[UUID, _Person] = {}
    episodes: dict[UUID, list[CareFacts]] = defaultdict(list)
    closed: set[UUID] = set()
    rows = with_phase(Episode.objects.filter(client__deactivated_at=None)).order_by("opened_on")
    for pk, client_id, *person, opened_on, phase, since_on in rows.values_list(*EPISODE_COLUMNS):
        if phase == Phase.DISCHARGED:
            closed.add(client_id)
            continue
        people[client_id] = _person(*person)
        episodes[client_id].append(
            CareFacts(
                opened_on, Phase(phase), since_on, taped.get(pk), schedules.get(pk), treated[pk]
            )
        )
    return people, episodes, closed - people.keys()


def _person(given: str, family: str, *rest: Any) -> _Person:
    return _Person(f"{given} {family}", *rest)


def _people(client_ids: Collection[UUID]) -> dict[UUID, _Person]:
    """Active clients without an episode: an evaluation was booked and not kept."""
    rows = Client.objects.filter(pk__in=client_ids, deactivated_at=None).values_list(
        "pk", "given_name", "family_name", "record_number", "phone"
    )
    return {pk: _person(*rest) for pk, *rest in rows}


def _last_taped() -> dict[UUID, date]:
    """The day of the latest session that was not struck out, by episode. The day only."""
    live = GirthSession.objects.filter(struck_at=None).order_by()
    return dict(live.values_list("episode").annotate(last_on=Max("taken_on")))


def _schedules() -> dict[UUID, int]:
    return dict(RecallSchedule.objects.values_list("episode_id", "every_months"))


def _treatments_done() -> Counter[UUID]:
    """Treatment visits done since an episode was opened, by episode."""
    done = Appointment.objects.filter(
        status=Status.DONE,
        kind__purpose=Purpose.TREATMENT,
        period__startswith__date__gte=F("client__episodes__opened_on"),
    ).order_by()
    return Counter(dict(done.values_list("client__episodes").annotate(visits=Count("pk"))))


def _booked(now: datetime) -> dict[UUID, BookedFacts]:
    """What every client's bookings say, in days: one query, one row a client."""
    held, freed = Q(status__in=sorted(HOLDING)), Q(status__in=sorted(FREED))
    ahead = Q(status__in=STILL_TO_COME, period__endswith__gt=now)
    on = TruncDate(starts_at())
    measuring = ahead & Q(kind__purpose__in=MEASURING)
    rows = (
        Appointment.objects.order_by()
        .values("client")
        .annotate(
            last_freed=Max(on, filter=freed),
            last_held=Max(on, filter=held),
            next_on=Min(on, filter=ahead),
            next_measuring=Min(on, filter=measuring),
        )
        .values_list("client", "last_freed", "last_held", "next_on", "next_measuring")
    )
    return {client_id: BookedFacts(*days) for client_id, *days in rows}


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
