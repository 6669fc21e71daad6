"""What the caseload's lines rest on, read as plain values in a fixed number of queries."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.db.models import Count, Max, Min, OuterRef, Q, QuerySet, Subquery
from django.utils import timezone

from clinic.clients.models import AffectedRegion, Episode, PrecautionFound
from clinic.clients.selectors import with_phase
from clinic.common.vocabulary import Involvement, Phase, Precaution, Region, Stage
from clinic.overview.caseload import (
    CaseloadLine,
    Owed,
    RegionTold,
    weighed,
)
from clinic.overview.concern import Flag, FlagKind, flag, is_recent
from clinic.overview.due import DueItem, DueKind, due_items
from clinic.overview.facts import Watched, dated, facts_of, last_taped, wishing
from clinic.scheduling.recalls import (
    Ask,
    BookedFacts,
    CareFacts,
    ClientFacts,
    Recall,
    recalls_of,
)
from clinic.scheduling.selectors.recalls import booked_facts
from clinic.scheduling.words import RecallReason
from clinic.visits.models import RedFlagSeen, VisitNote
from clinic.visits.red_flags import RedFlagKind
from clinic.visits.selectors.plan_facts import plan_recalls
from measurements.limb.comparison import Judged, Verdict
from measurements.limb.thresholds import RULES, Criterion
from measurements.models import LimbFindings
from measurements.selectors.plateaus import ready_for_garments
from measurements.selectors.standings import kept_standings
from measurements.standing import Standing
from programmes.body.precautions import effects_of
from programmes.selectors.flags import WithdrawalFlag, withdrawal_flags
from programmes.selectors.garments import replacement_of_episode

Keys = QuerySet[Any, Any]
COLUMNS = (
    "pk",
    "client_id",
    "client__given_name",
    "client__family_name",
    "client__folded_name",
    "client__record_number",
    "therapist_id",
    "therapist__display_name",
    "opened_on",
    "phase_now",
    "phase_since_on",
    "wish",
    "reader_is_active",
    "agrees",
    "last_letter_to",
    "letter_draft_at",
    "girth_draft_at",
    "every_months",
    "garment_due_on",
)
DONE_ON = {
    DueKind.WITHDRAW: "programmes",
    DueKind.BASELINE: "girths-enter",
    DueKind.REMEASURE: "girths-enter",
    DueKind.GIRTH_DRAFT: "girths-enter",
    DueKind.STAGE: "client",
    DueKind.LETTER: "letters",
    DueKind.LETTER_DRAFT: "letters",
}
# Re-measurement is told by the due list, authorised visits are the desk's.
ANSWERED_ON = {
    RecallReason.PROGRESS_REPORT: "letters",
    RecallReason.PLAN_ENDING: "plans",
    RecallReason.GARMENT: "garments",
    RecallReason.GARMENTS_READY: "garments",
    RecallReason.NOTHING_BOOKED: "client-appointment-new",
    RecallReason.MISSED: "client-appointment-new",
}


EARLY_LIMIT = RULES[Criterion.SURVEILLANCE_3_PERCENT]
EARLY = f"{{}} more than {EARLY_LIMIT.limit:g}\u202f{EARLY_LIMIT.unit} above baseline"


@dataclass(frozen=True, slots=True)
class Notes:
    """What the visit notes of an episode say, in days."""

    visits: int = 0
    last_on: date | None = None
    unsigned_on: date | None = None
    cosigned_wanted_on: date | None = None
    signs_on: date | None = None  # red-flag signs ticked in a note that is not signed


@dataclass(frozen=True)
class Gathered:
    """Everything read, by episode or by client."""

    elsewhere: "Elsewhere"
    regions: Mapping[UUID, Sequence[RegionTold]]
    taped: Mapping[UUID, Mapping[str, date]]
    standings: Mapping[UUID, Sequence[Standing]]
    booked: Mapping[UUID, tuple[BookedFacts, Sequence[date]]]
    notes: Mapping[UUID, Notes]
    precautions: Mapping[UUID, Sequence[tuple[Precaution, date]]]
    red_flags: Mapping[UUID, Sequence[tuple[RedFlagKind, date]]]


@dataclass(frozen=True)
class Elsewhere:
    """What rules that only Python knows find of the chosen episodes: few, however many there are.

    By client and episode, or by episode. `level` is asked of every intensive phase.
    """

    today: date
    plans: Mapping[tuple[UUID, UUID], Sequence[Recall]]
    level: Mapping[UUID, date]
    withdrawals: Mapping[UUID, WithdrawalFlag]


def found_elsewhere(chosen: QuerySet[Episode], *, today: date) -> Elsewhere:
    """Nine queries at most, whatever the number of episodes."""
    opened = with_phase(chosen).exclude(phase_now=Phase.DISCHARGED)
    return Elsewhere(
        today=today,
        plans=plan_recalls(today, among=opened.values("pk")),
        level=ready_for_garments(today),
        withdrawals=_withdrawals(chosen),
    )


def caseload_lines(shown: QuerySet[Episode], elsewhere: Elsewhere) -> dict[UUID, CaseloadLine]:
    """The lines of some open episodes, in no order: 8 queries, whatever their number."""
    gathered = _gathered(shown, elsewhere)
    open_ones = wishing(dated(shown)).exclude(phase_now=Phase.DISCHARGED)
    rows = open_ones.annotate(garment_due_on=replacement_of_episode()).order_by()
    return {row.pk: _line(row, gathered) for row in rows.values_list(*COLUMNS, named=True)}


def _gathered(shown: QuerySet[Episode], elsewhere: Elsewhere) -> Gathered:
    keys, clients = shown.order_by().values("pk"), shown.order_by().values("client")
    return Gathered(
        elsewhere=elsewhere,
        regions=_regions(keys),
        taped=last_taped(keys),
        standings=kept_standings(keys, with_points=True),
        booked=booked_facts(clients, timezone.now()),
        notes=_notes(keys),
        precautions=_precautions(clients),
        red_flags=_red_flags(keys, elsewhere.today),
    )


def _regions(keys: Keys) -> Mapping[UUID, Sequence[RegionTold]]:
    latest = LimbFindings.objects.filter(region=OuterRef("pk")).order_by(
        "-found_on", "-recorded_at"
    )
    rows = AffectedRegion.objects.filter(episode__in=keys).order_by("pk")
    staged = rows.annotate(stage=Subquery(latest.values("stage")[:1]))
    found: defaultdict[UUID, list[RegionTold]] = defaultdict(list)
    for key, region, side, involvement, stage in staged.values_list(
        "episode_id", "region", "side", "involvement", "stage"
    ):
        told = RegionTold(
            Region(region), side, Involvement(involvement), Stage(stage) if stage else None
        )
        found[key].append(told)
    return found


def _notes(keys: Keys) -> Mapping[UUID, Notes]:
    unsigned = Q(signed_at=None)
    waits = Q(signed_at__isnull=False, needs_cosignature=True, cosigned_at=None)
    rows = VisitNote.objects.filter(episode__in=keys).order_by().values("episode")
    counted = rows.annotate(
        visits=Count("pk"),
        last_on=Max("visited_on"),
        unsigned_on=Min("visited_on", filter=unsigned),
        waits_on=Min("visited_on", filter=waits),
        signs_on=Max("visited_on", filter=unsigned & ~Q(signs=[])),
    )
    columns = ("episode", "visits", "last_on", "unsigned_on", "waits_on", "signs_on")
    return {key: Notes(*told) for key, *told in counted.values_list(*columns)}


def _precautions(clients: Keys) -> Mapping[UUID, Sequence[tuple[Precaution, date]]]:
    found: defaultdict[UUID, list[tuple[Precaution, date]]] = defaultdict(list)
    rows = PrecautionFound.objects.filter(client__in=clients, cleared_on=None).order_by("found_on")
    for client_id, precaution, found_on in rows.values_list("client_id", "precaution", "found_on"):
        found[client_id].append((Precaution(precaution), found_on))
    return found


def _withdrawals(chosen: QuerySet[Episode]) -> Mapping[UUID, WithdrawalFlag]:
    """Only a client with an open precaution can have one: few, so that whole rows may be read."""
    barred = PrecautionFound.objects.filter(cleared_on=None).values("client")
    holding = chosen.filter(
        programmes__issued_at__isnull=False, programmes__withdrawn_at=None, client__in=barred
    )
    return withdrawal_flags(holding.order_by().distinct())


def _red_flags(keys: Keys, today: date) -> Mapping[UUID, Sequence[tuple[RedFlagKind, date]]]:
    """Those acknowledged at a visit lately."""
    found: defaultdict[UUID, list[tuple[RedFlagKind, date]]] = defaultdict(list)
    rows = RedFlagSeen.objects.filter(note__episode__in=keys).order_by("-note__visited_on")
    for key, kind, on in rows.values_list("note__episode_id", "kind", "note__visited_on"):
        if is_recent(on, today=today):
            found[key].append((RedFlagKind(kind), on))
    return found


# One line


@dataclass(frozen=True, slots=True)
class _Own:
    """What was gathered of one episode, looked up once."""

    today: date
    phase: Phase
    regions: Sequence[RegionTold]
    taped: Mapping[str, date]
    standings: Sequence[Standing]
    booked: BookedFacts
    treated_on: Sequence[date]
    notes: Notes
    precautions: Sequence[tuple[Precaution, date]]
    withdrawal: WithdrawalFlag | None
    red_flags: Sequence[tuple[RedFlagKind, date]]
    plans: Sequence[Recall]
    level_since_on: date | None


NOT_BOOKED, NO_NOTES = BookedFacts(), Notes()


def _own(row: Any, gathered: Gathered) -> _Own:
    key, client, elsewhere = row.pk, row.client_id, gathered.elsewhere
    booked, treated_on = gathered.booked.get(client, (NOT_BOOKED, ()))
    return _Own(
        today=elsewhere.today,
        phase=Phase(row.phase_now),
        regions=gathered.regions.get(key, ()),
        taped=gathered.taped.get(key, {}),
        standings=gathered.standings.get(key, ()),
        booked=booked,
        treated_on=treated_on,
        notes=gathered.notes.get(key, NO_NOTES),
        precautions=gathered.precautions.get(client, ()),
        withdrawal=elsewhere.withdrawals.get(key),
        red_flags=gathered.red_flags.get(key, ()),
        plans=elsewhere.plans.get((client, key), ()),
        level_since_on=elsewhere.level.get(key),
    )


def _line(row: Any, gathered: Gathered) -> CaseloadLine:
    own = _own(row, gathered)
    placed = weighed(_owed(row, own), _flags(own), own.standings, today=own.today)
    return CaseloadLine(
        episode_id=row.pk,
        client_id=row.client_id,
        name=f"{row.client__family_name}, {row.client__given_name}",
        folded_name=row.client__folded_name,
        record_number=row.client__record_number,
        therapist_id=row.therapist_id,
        therapist=row.therapist__display_name,
        phase=own.phase,
        phase_since_on=row.phase_since_on,
        regions=tuple(own.regions),
        standings=tuple(own.standings),
        is_behind={each.limb.value: each.taken_on for each in own.standings} != own.taped,
        visits=own.notes.visits,
        last_visit_on=own.notes.last_on,
        next_on=own.booked.next_on,
        owed=placed.owed,
        coming=placed.coming,
        flags=placed.flags,
        concern=placed.concern,
        pressing=placed.pressing,
    )


def _owed(row: Any, own: _Own) -> Iterator[Owed]:
    watched = [(each.region, each.side, each.stage is not None) for each in own.regions]
    yield from map(_owed_item, due_items(facts_of(row, Watched(watched, own.taped))))
    if own.withdrawal:
        found_on = min(found.found_on for found in own.withdrawal.found)
        yield _owed_item(DueItem(DueKind.WITHDRAW, found_on))
    for recall in _recalls(row, own):
        if page := ANSWERED_ON.get(recall.reason):
            yield Owed(recall.reason.label, recall.due_on, page)


def _owed_item(item: DueItem) -> Owed:
    words = f"{item.kind.label}, {item.what}" if item.what else item.kind.label
    return Owed(words, item.due_on, DONE_ON[item.kind])


def _recalls(row: Any, own: _Own) -> list[Recall]:
    """By the rules of the recall list, from what the caseload has read already."""
    care = CareFacts(
        opened_on=row.opened_on,
        phase=own.phase,
        phase_since_on=row.phase_since_on,
        last_taped_on=max(own.taped.values(), default=None),
        every_months=row.every_months,
        treatments_done=sum(day >= row.opened_on for day in own.treated_on),
        garment_due_on=row.garment_due_on,
        level_since_on=own.level_since_on,
    )
    return recalls_of(
        ClientFacts((care,), booked=own.booked, told=tuple(own.plans)), Ask(own.today)
    )


def _flags(own: _Own) -> Iterator[Flag]:
    if own.precautions:
        yield from _precaution_flags(own.precautions)
    for kind, on in own.red_flags:
        yield flag(FlagKind.RED_FLAG, kind.label, on)
    if own.notes.signs_on:
        yield flag(FlagKind.RED_FLAG, "signs ticked in a note not signed yet", own.notes.signs_on)
    for standing in own.standings:
        yield from _rises(standing, own)
    if own.withdrawal:
        yield Flag(FlagKind.WITHDRAW, is_urgent=own.withdrawal.is_urgent)
    if own.notes.unsigned_on:
        yield flag(FlagKind.UNSIGNED, "draft", own.notes.unsigned_on)
    if own.notes.cosigned_wanted_on:
        yield flag(FlagKind.UNSIGNED, "waits for a co-signature", own.notes.cosigned_wanted_on)


def _precaution_flags(found: Sequence[tuple[Precaution, date]]) -> Iterator[Flag]:
    """What bars every step and nobody may lift is urgent; the rest is said."""
    barring = {each.precaution for each in effects_of(p for p, _ in found).barring}
    for precaution, on in found:
        kind = FlagKind.BARRED if precaution in barring else FlagKind.PRECAUTION
        yield flag(kind, precaution.label, on)


def _rises(standing: Standing, own: _Own) -> Iterator[Flag]:
    """Urgent while the session is recent; an older one is a limb that grew, and listed as that."""
    limb, on = standing.limb.label, standing.taken_on
    if standing.is_sudden_rise:
        yield Flag(FlagKind.SUDDEN_RISE, limb, on, is_recent(on, today=own.today))
    if standing.both_rose:
        yield Flag(FlagKind.BOTH_ROSE, limb, on, is_recent(on, today=own.today))
    if own.phase is Phase.SURVEILLANCE and _is_early_change(standing):
        yield flag(FlagKind.EARLY_CHANGE, EARLY.format(limb), on)


def _is_early_change(standing: Standing) -> bool:
    """Over the published limit, and no mere tape error."""
    if standing.relative_percent is None or standing.relative_error is None:
        return False
    judged = Judged(standing.relative_percent, standing.relative_error)
    return EARLY_LIMIT.is_met_by(judged.value) and judged.verdict is Verdict.BEYOND_ERROR_UP
