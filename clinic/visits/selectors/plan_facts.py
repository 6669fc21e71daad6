"""Where plans of care stand, counted from the record: one episode's, or all open ones'."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.contrib.postgres.aggregates import ArrayAgg
from django.contrib.postgres.expressions import ArraySubquery
from django.db.models import Count, Exists, F, OuterRef, Q, QuerySet
from django.db.models.functions import TruncDate

from clinic.clients.models import Episode
from clinic.clients.selectors import with_phase
from clinic.common.vocabulary import Phase
from clinic.scheduling.models import Appointment
from clinic.scheduling.recalls import REPORT_NOTICE_VISITS, Recall
from clinic.scheduling.selectors.authorisations import STILL_TO_COME, starts_at
from clinic.scheduling.words import Purpose, RecallReason
from clinic.visits import plan_dates
from clinic.visits.lists import ChartingRules
from clinic.visits.models import TreatmentEntry, VisitNote
from clinic.visits.plan_dates import (
    Certification,
    PlanFacts,
    PlanRules,
    PlanStanding,
    PlanWarning,
)
from clinic.visits.plans import PlanOfCare
from clinic.visits.reported import ProgressReported
from clinic.visits.words import VisitKind

Key = tuple[UUID, UUID]  # client and episode
OpenIds = QuerySet[Episode, Any]

PLAN_COLUMNS = ("from_on", "to_on", "ended_on", "certified_on")
REPORT_WARNINGS = frozenset(
    {PlanWarning.REPORT_SOON, PlanWarning.REPORT_DUE, PlanWarning.REPORT_OVERDUE}
)
ENDING_WARNINGS = frozenset({PlanWarning.RECERTIFY_SOON, PlanWarning.CERTIFICATION_ENDED})


def plan_rules() -> PlanRules:
    """The clinic's rules, or the usual ones until it has kept its own. One query."""
    kept = ChartingRules.objects.filter(pk=1).first() or ChartingRules()
    return PlanRules(report_every_days=kept.report_every_days, certified_days=kept.certified_days)


def plan_standing(episode: Episode, on: date, *, rules: PlanRules | None = None) -> PlanStanding:
    """Where the episode stands on a day: 5 queries, 4 with `rules`."""
    signed = episode.plans.filter(signed_at__isnull=False).order_by("number")
    return _Counted(
        treated_on=list(
            treated_notes().filter(episode=episode).values_list("visited_on", flat=True)
        ),
        plans=[_PlanDays(*row) for row in signed.values_list(*PLAN_COLUMNS)],
        reported_until=list(episode.reported.values_list("until_on", flat=True)),
        booked_on=list(_booked_on(episode, on)),
    ).standing(on, rules or plan_rules())


def treated_notes() -> QuerySet[VisitNote]:
    """Signed notes of days that count as treatment days: with a treatment, or an evaluation."""
    has_treatment = Exists(TreatmentEntry.objects.filter(note=OuterRef("pk")))
    counts = Q(kind=VisitKind.EVALUATION) | has_treatment
    return VisitNote.objects.filter(counts, signed_at__isnull=False).order_by()


def _booked_on(episode: Episode, on: date) -> QuerySet[Appointment, date]:
    """Days of treatment to come. A booking is the client's: it knows no episode."""
    to_come = Appointment.objects.filter(
        client=episode.client_id,
        kind__purpose=Purpose.TREATMENT,
        status__in=STILL_TO_COME,
        period__startswith__date__gte=on,
    )
    return to_come.annotate(on=TruncDate(starts_at())).values_list("on", flat=True)


@dataclass(frozen=True)
class _PlanDays:
    """The days of one signed plan."""

    from_on: date
    to_on: date
    ended_on: date | None
    certified_on: date | None

    @property
    def certification(self) -> Certification:
        """What the plan covers: to its own last day, or the day it was ended."""
        last_on = min(self.to_on, self.ended_on) if self.ended_on else self.to_on
        return Certification(self.from_on, max(last_on, self.from_on), self.certified_on)


@dataclass(frozen=True)
class _Counted:
    """What one episode's standing is counted from."""

    treated_on: Sequence[date]
    plans: Sequence[_PlanDays]
    reported_until: Sequence[date] = ()
    booked_on: Sequence[date] = ()

    def standing(self, on: date, rules: PlanRules) -> PlanStanding:
        facts = PlanFacts(
            self.treated_on,
            self.reported_until,
            [plan.certification for plan in self.plans],
            self.booked_on,
        )
        found = plan_dates.plan_standing(facts, today=on, rules=rules)
        settled = self._settled(found, on)
        return replace(found, warnings=tuple(w for w in found.warnings if w not in settled))

    def _settled(self, found: PlanStanding, on: date) -> frozenset[PlanWarning]:
        """Warnings of an end that is seen to: the next plan is signed, or care was ended."""
        current = found.certification
        if current is None:
            return frozenset()
        follows = any(
            on < plan.from_on <= current.last_on + timedelta(days=1) for plan in self.plans
        )
        ended = [plan.ended_on for plan in self.plans if plan.from_on == current.from_on]
        ended_on = ended[-1] if ended else None
        is_over = ended_on is not None and ended_on <= on
        is_over = is_over and not any(ended_on < day <= on for day in self.treated_on if ended_on)
        return ENDING_WARNINGS if follows or is_over else frozenset()


# Everybody


def plans_due(on: date, *, rules: PlanRules | None = None) -> dict[UUID, tuple[Recall, ...]]:
    """Client id -> recalls for a progress report or a recertification, of all open episodes.

    Three queries, whatever the number. A client is absent when nothing is due.
    """
    found: dict[UUID, list[Recall]] = defaultdict(list)
    due = plan_recalls(on, rules=rules, among=open_episodes().values("pk"))
    for client_id, episode_id in sorted(due):
        found[client_id].extend(due[client_id, episode_id])
    return {client_id: tuple(recalls) for client_id, recalls in found.items()}


def plan_recalls(
    on: date, *, among: OpenIds, rules: PlanRules | None = None
) -> dict[Key, tuple[Recall, ...]]:
    """What is due of each episode `among` a query of keys; absent where nothing is.

    Three queries, whatever the number: rules, plans, treatment days with the reports that cover
    them. `count` of a report is the treatment days so far.
    """
    rules = rules or plan_rules()
    plans, treated = _plans_by_episode(among), _days_by_episode(among, rules)
    found = {}
    for key in {*plans, *treated}:
        days, reported = treated.get(key, ((), ()))
        counted = _Counted(days, plans.get(key, ()), reported)
        if recalls := tuple(recalls_from(counted.standing(on, rules), on)):
            found[key] = recalls
    return found


def open_episodes() -> QuerySet[Episode]:
    """Episodes of active clients whose present phase is not discharge."""
    active = with_phase(Episode.objects.filter(client__deactivated_at=None)).order_by()
    return active.exclude(phase_now=Phase.DISCHARGED)


def _plans_by_episode(open_ids: OpenIds) -> Mapping[Key, Sequence[_PlanDays]]:
    signed = PlanOfCare.objects.filter(signed_at__isnull=False, episode__in=open_ids)
    columns = ("episode__client_id", "episode_id", *PLAN_COLUMNS)
    found: dict[Key, list[_PlanDays]] = defaultdict(list)
    for client_id, episode_id, *days in signed.order_by("number").values_list(*columns):
        found[client_id, episode_id].append(_PlanDays(*days))
    return found


def _days_by_episode(
    open_ids: OpenIds, rules: PlanRules
) -> Mapping[Key, tuple[Sequence[date], Sequence[date]]]:
    """Treatment days, and the last days that approved progress reports cover.

    Without a plan and with too few days for a report nothing can be due: most are not read.
    """
    fewest = max(rules.report_every_days - REPORT_NOTICE_VISITS, 1)
    planned = PlanOfCare.objects.filter(episode=OuterRef("episode_key"), signed_at__isnull=False)
    reports = ProgressReported.objects.filter(episode=OuterRef("episode_key")).order_by()
    rows = (
        treated_notes()
        .filter(episode__in=open_ids)
        .values(client_key=F("episode__client_id"), episode_key=F("episode_id"))
        .annotate(
            days=ArrayAgg("visited_on", distinct=True),
            number=Count("visited_on", distinct=True),
            reported=ArraySubquery(reports.values("until_on")),
        )
        .filter(Q(number__gte=fewest) | Exists(planned))
        .values_list("client_key", "episode_key", "days", "reported")
    )
    return {(client_id, episode_id): (days, told) for client_id, episode_id, days, told in rows}


def recalls_from(standing: PlanStanding, on: date) -> Iterator[Recall]:
    """What the desk should know of it: a report that is near or due, a certification that ends."""
    warnings = frozenset(standing.warnings)
    if REPORT_WARNINGS & warnings:
        due_on = min(standing.report.due_on or on, on)
        yield Recall(RecallReason.PROGRESS_REPORT, due_on, count=standing.treatment_days)
    if ENDING_WARNINGS & warnings and standing.certification:
        yield Recall(RecallReason.PLAN_ENDING, standing.certification.last_on)
