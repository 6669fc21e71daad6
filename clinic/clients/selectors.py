"""Reads about clients, referrers, episodes and what was done to a body."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from uuid import UUID

from django.core.paginator import Page, Paginator
from django.db.models import F, Func, Model, OuterRef, Prefetch, Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce
from django.utils import timezone

from clinic.accounts import permits
from clinic.accounts.models import User
from clinic.clients.duplicates import FullName, Likeness, likeness
from clinic.clients.models import (
    AffectedRegion,
    CancerTreatment,
    Client,
    DrugTreatment,
    Episode,
    Irradiation,
    NodeSurgery,
    PhaseChange,
    PrecautionFound,
    Referrer,
    Surgery,
    folded,
)
from clinic.clients.spellings import read_search
from clinic.common.vocabulary import Precaution, Sex, Word

PAGE_LENGTH = 25

TREATMENT_KINDS: dict[str, type[CancerTreatment]] = {
    "surgery": Surgery,
    "nodes": NodeSurgery,
    "radiation": Irradiation,
    "drugs": DrugTreatment,
}


class Order(Word):
    """How a list of clients is sorted."""

    NAME = "name", "name"
    BORN = "born", "date of birth"
    NUMBER = "number", "record number"


SORTED_BY = {
    Order.NAME: ("folded_name", "born_on", "pk"),
    Order.BORN: ("born_on", "folded_name", "pk"),
    Order.NUMBER: ("record_number",),
}


@dataclass(frozen=True)
class Search:
    """What a person asked a list for."""

    words: str = ""
    includes_inactive: bool = False
    order: Order = Order.NAME
    page: int = 1


@dataclass(frozen=True)
class ClientCard:
    """Who a client is. No clinical field: anybody of the practice may see it."""

    id: UUID
    record_number: str
    name: str
    given_name: str
    family_name: str
    born_on: date
    age_years: int
    sex: str
    phone: str
    email: str
    street: str
    town: str
    referrer: Referrer | None
    agrees_to_letters: bool
    is_active: bool
    deactivated_reason: str


@dataclass(frozen=True)
class LookAlike:
    """A registered client who may be the one at the desk, and why."""

    client: Client
    likeness: Likeness


@dataclass(frozen=True)
class BodyStory:
    """What was done to a client's body, and what stands against treating it."""

    surgeries: tuple[Surgery, ...]
    node_surgeries: tuple[NodeSurgery, ...]
    irradiations: tuple[Irradiation, ...]
    drug_treatments: tuple[DrugTreatment, ...]
    precautions: tuple[PrecautionFound, ...]

    @property
    def treatments(self) -> list[tuple[str, CancerTreatment]]:
        """(kind, treatment) by day; those of unknown day last."""
        told = sorted(self._told(), key=lambda one: (one[1].done_on or date.max, one[0]))
        return told

    @property
    def open_precautions(self) -> frozenset[Precaution]:
        return frozenset(Precaution(found.precaution) for found in self.precautions)

    def _told(self) -> Iterator[tuple[str, CancerTreatment]]:
        yield from (("surgery", treatment) for treatment in self.surgeries)
        yield from (("nodes", treatment) for treatment in self.node_surgeries)
        yield from (("radiation", treatment) for treatment in self.irradiations)
        yield from (("drugs", treatment) for treatment in self.drug_treatments)


# Clients


def clients_for(user: User) -> QuerySet[Client]:
    """The clients this person may see, deactivated ones too; what is not in it is a 404."""
    return standing_clients() if permits.may(user, "clients.see") else Client.objects.none()


def standing_clients() -> QuerySet[Client]:
    """Every record that is one: neither merged into another nor erased."""
    return Client.objects.filter(merged_into=None, erased_at=None)


def gone_client(user: User, client_id: UUID) -> Client | None:
    """A record that was merged or erased, for who follows an old link; None for all others."""
    gone = Client.objects.exclude(merged_into=None, erased_at=None)
    return gone.filter(pk=client_id).first() if permits.may(user, "clients.see") else None


def clients_found(user: User, search: Search) -> Page[Client]:
    """One page of the clients a search finds: three queries, identity only."""
    found = clients_for(user).filter(_is_or_was(search.words))
    if not search.includes_inactive:
        found = found.filter(deactivated_at=None)
    shown = found.order_by(*SORTED_BY[search.order]).only(
        "record_number", "given_name", "family_name", "born_on", "phone", "town", "deactivated_at"
    )
    return _page(shown, search.page)


def clients_matching(user: User, words: str) -> QuerySet[Client]:
    """The active clients that all the words of a search fit, for a list of something of theirs."""
    return clients_for(user).filter(_client_is(words), deactivated_at=None)


def records_for(user: User) -> QuerySet[Client]:
    """Every record there ever was, merged and erased ones too, for who may read the access and
    change record, which outlives both."""
    return Client.objects.all() if permits.may(user, "audit.see") else Client.objects.none()


def records_found(user: User, words: str) -> list[UUID]:
    """The keys of all records that these words find and of those merged into them. Three
    queries."""
    found = list(records_for(user).filter(_is_or_was(words)).values_list("pk", flat=True))
    merged = records_for(user).filter(merged_into__in=found).exclude(pk__in=found)
    return [*found, *merged.values_list("pk", flat=True)]


def client_card(client: Client) -> ClientCard:
    """Who a client is. At most one query, for the referrer."""
    return ClientCard(
        name=f"{client.given_name} {client.family_name}",
        age_years=age_years(born_on=client.born_on, on=timezone.localdate()),
        sex=Sex(client.sex).label,
        referrer=client.referrer,
        is_active=client.is_active,
        deactivated_reason=client.deactivated_reason,
        **{name: getattr(client, name) for name in PLAIN_CARD_FIELDS},
    )


PLAIN_CARD_FIELDS = [
    "id",
    "record_number",
    "given_name",
    "family_name",
    "born_on",
    "phone",
    "email",
    "street",
    "town",
    "agrees_to_letters",
]


def age_years(*, born_on: date, on: date) -> int:
    """Completed years on a day."""
    return on.year - born_on.year - ((on.month, on.day) < (born_on.month, born_on.day))


def look_alikes(client: Client) -> list[LookAlike]:
    """Registered clients born on the same day under a similar name. One query."""
    name = FullName(client.given_name, client.family_name)
    born_alike = standing_clients().filter(born_on=client.born_on).exclude(pk=client.pk)
    judged = (
        (known, likeness(name, FullName(known.given_name, known.family_name)))
        for known in born_alike
    )
    return [LookAlike(known, reason) for known, reason in judged if reason]


def _client_is(words: str) -> Q:
    """All of the words must fit: name parts in any order, record number, date of birth."""
    wanted = read_search(words)
    condition = Q()
    for part in wanted.name_parts:
        condition &= Q(folded_name__contains=_folded_text(part))
    for part in wanted.number_parts:
        condition &= Q(record_number__icontains=part)
    return condition & Q(born_on=wanted.born_on) if wanted.born_on else condition


def _is_or_was(words: str) -> Q:
    """The old name or number of a record that was merged leads to the one that holds it all."""
    asked = _client_is(words)
    if not asked:  # everybody: an empty condition joined to another by OR would vanish
        return asked
    merged = Client.objects.filter(asked, merged_into__isnull=False)
    # A list, not a subquery: an OR with one would read every client.
    return asked | Q(pk__in=list(merged.values_list("merged_into", flat=True)))


def _folded_text(text: str) -> Func:
    return folded(Value(text))


def _page(shown: QuerySet, number: int) -> Page:  # type: ignore[type-arg]
    return Paginator(shown, PAGE_LENGTH).get_page(number)


# Referrers


def referrers() -> QuerySet[Referrer]:
    return Referrer.objects.all()


def referrers_found(search: Search) -> Page[Referrer]:
    """One page of the referrers whose name or organisation has every word."""
    found = referrers()
    for part in search.words.replace("\0", " ").replace(",", " ").split():
        found = found.filter(folded_name__contains=_folded_text(part))
    if not search.includes_inactive:
        found = found.filter(is_active=True)
    return _page(found.order_by("folded_name", "pk"), search.page)


def referrers_to_choose(*, chosen_id: UUID | None = None) -> QuerySet[Referrer]:
    """Referrers in use, and the one already chosen even if no longer in use."""
    return Referrer.objects.filter(Q(is_active=True) | Q(pk=chosen_id))


# Episodes


def episodes_for(user: User) -> QuerySet[Episode]:
    """The episodes this person may see: none for the front desk. Client and people joined."""
    if not permits.may(user, "episodes.see"):
        return Episode.objects.none()
    return Episode.objects.select_related("client", "therapist", "referrer")


def with_story(episodes: QuerySet[Episode]) -> QuerySet[Episode]:
    """Adds regions and phase history, two queries for all rows."""
    history = PhaseChange.objects.select_related("by")
    return episodes.prefetch_related(
        Prefetch("regions", AffectedRegion.objects.all()), Prefetch("phase_changes", history)
    )


def with_phase(episodes: QuerySet[Episode]) -> QuerySet[Episode]:
    """Adds `phase_now` and `phase_since_on` in the same query, for lists and filters."""
    latest = PhaseChange.objects.filter(episode=OuterRef("pk")).order_by("-since_on", "-pk")
    return episodes.annotate(
        phase_now=Subquery(latest.values("phase")[:1]),
        phase_since_on=Subquery(latest.values("since_on")[:1]),
    )


def with_reader(episodes: QuerySet[Episode]) -> QuerySet[Episode]:
    """Adds who letters go to, the episode's referrer, else the client's: how often (`wish`) and
    `reader_is_active`; a letter is owed to nobody deactivated. Both NULL without a referrer.
    """
    return episodes.annotate(
        wish=Coalesce(F("referrer__letter_frequency"), F("client__referrer__letter_frequency")),
        reader_is_active=Coalesce(F("referrer__is_active"), F("client__referrer__is_active")),
    )


def current_phase(episode: Episode) -> PhaseChange:
    """The latest phase change; every episode has one. No query if the history was prefetched."""
    return list(episode.phase_changes.all())[-1]


def phase_history(episode: Episode) -> QuerySet[PhaseChange]:
    """Every phase with its day, reason and author, latest first."""
    return episode.phase_changes.select_related("by").order_by("-since_on", "-pk")


def therapists(*, chosen_id: int | None = None) -> QuerySet[User]:
    """Clinical staff in use, and the one already chosen even if switched off since."""
    clinical = Q(is_active=True, role__in=permits.CLINICAL)
    return User.objects.filter(clinical | Q(pk=chosen_id))


# The body


def body_story(client: Client) -> BodyStory:
    """All cancer treatments and the open precautions: five queries, whatever their number."""
    return BodyStory(
        surgeries=tuple(client.surgeries.all()),
        node_surgeries=tuple(client.node_surgeries.all()),
        irradiations=tuple(client.irradiations.all()),
        drug_treatments=tuple(client.drug_treatments.all()),
        precautions=tuple(open_precautions(client)),
    )


def open_precautions(client: Client) -> QuerySet[PrecautionFound]:
    """Precautions found and not cleared, oldest first, with who found them."""
    return client.precautions.filter(cleared_on=None).select_related("found_by")


def precautions_of(client: Client) -> QuerySet[PrecautionFound]:
    """Every precaution ever found, the open ones first."""
    return client.precautions.select_related("found_by", "cleared_by")


def treatments_of(client: Client, kind: str) -> QuerySet[CancerTreatment]:
    """The client's treatments of one kind. KeyError for an unknown kind."""
    model: type[Model] = TREATMENT_KINDS[kind]
    return model._default_manager.filter(client=client)  # type: ignore[return-value]
