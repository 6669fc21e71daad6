"""Gathers plan, goals, scores, treatment and what the client goes home with, from the record.

A fixed number of queries, whatever the record holds.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from django.db.models import F
from django.db.models.functions import TruncDate
from django.utils import timezone

from clinic.clients.models import Episode
from clinic.common.vocabulary import Phase, Stage
from clinic.letters.care import (
    Care,
    Ending,
    GarmentTold,
    Given,
    GoalTold,
    PlanTold,
    ProgrammeTold,
    ScoreTold,
    ServiceTold,
    StageFirst,
)
from clinic.letters.kinds import LetterKind
from clinic.letters.occasion import Occasion
from clinic.scheduling.models import Appointment
from clinic.scheduling.selectors.authorisations import STILL_TO_COME, starts_at
from clinic.scheduling.states import Status
from clinic.visits.models import VisitNote
from clinic.visits.plans import PlanOfCare
from clinic.visits.selectors.goal_values import Values, goal_values
from clinic.visits.selectors.plan_facts import treated_notes
from clinic.visits.selectors.plans import GoalRow, goal_rows, plans_of, shown_plan
from clinic.visits.words import GoalStatus
from measurements.limb.instruments import Limit
from measurements.models import LimbFindings
from measurements.report import LimbCourse
from measurements.score_report import ScoreStanding, series_of
from measurements.selectors.scores import dominant_side, score_history, standings
from programmes.compression.words import WornBy
from programmes.models import Garment, Programme
from programmes.selectors.garments import wear_text, worn_now
from programmes.selectors.programmes import in_hand

MISSED = (Status.NO_SHOW, Status.CANCELLED_LATE)


def care_of(episode: Episode, occasion: Occasion, courses: Iterable[LimbCourse]) -> Care:
    """`courses` hold nothing taped after the period."""
    plans = [plan for plan in plans_of(episode) if plan.signed_at is not None]
    plan = shown_plan(plans, occasion.period_to)
    scores = scores_until(episode, occasion.period_to)
    values = goal_values(episode, reports=[course.latest for course in courses], scores=scores)
    rows = goals_told(plan, plans, values, ends=occasion.kind is LetterKind.DISCHARGE)
    return Care(
        plan=_plan(plan) if plan else None,
        goals=tuple(_goal(row) for row in rows),
        scores=tuple(_score(standing) for standing in scores),
        given=given(episode, occasion),
    )


def goals_told(
    plan: PlanOfCare | None, plans: Sequence[PlanOfCare], values: Values, *, ends: bool
) -> list[GoalRow]:
    """The goals of the plan; at the end also those that earlier plans reached, oldest first."""
    if plan is None:
        return []
    earlier = [each for each in reversed(plans) if ends and each.number < plan.number]
    past = (row for each in earlier for row in goal_rows(each, values))
    met = [row for row in past if row.status is GoalStatus.MET]
    return [*met, *goal_rows(plan, values)]


def scores_until(episode: Episode, on: date) -> tuple[ScoreStanding, ...]:
    """Where each score stood on a day. One query."""
    points = (row.point for series in score_history(episode) for row in series.rows)
    known = [point for point in points if point.scored_on <= on]
    return tuple(standings(series_of(known, dominant=dominant_side(episode))))


def _plan(plan: PlanOfCare) -> PlanTold:
    return PlanTold(
        number=plan.number,
        from_on=plan.from_on,
        to_on=plan.to_on,
        visits_a_week=plan.visits_a_week,
        weeks=plan.weeks,
        certified_by=plan.certified_by,
        certified_on=plan.certified_on,
    )


def _goal(row: GoalRow) -> GoalTold:
    goal, value, reviewed = row.goal, row.value, row.reviewed
    return GoalTold(
        number=row.number,
        text=goal.text,
        measure=goal.measure,
        instrument=goal.instrument,
        baseline=None if goal.baseline is None else float(goal.baseline),
        now=value.value if value else None,
        now_on=value.measured_on if value else None,
        margin=value.measured.value_limit if value else None,
        target=None if goal.target is None else float(goal.target),
        due_on=goal.due_on,
        standing=row.standing.words if row.standing else "",
        status=row.status,
        reviewed_on=reviewed.reviewed_on if reviewed else None,
        remark=reviewed.remark if reviewed else "",
    )


def _score(standing: ScoreStanding) -> ScoreTold:
    first, latest, series = standing.baseline, standing.latest, standing.series
    limits = standing.spec.limits_for(series.part)
    activities = f": {', '.join(series.activities)}" if series.activities else ""
    return ScoreTold(
        instrument=series.instrument,
        title=f"{series.title}{activities}",
        first=float(first.score),
        first_on=first.scored_on,
        now=float(latest.score),
        now_on=latest.scored_on,
        change=standing.change,
        meaning=standing.meaning,
        matters=_at(limits.matters, float(first.score)),
        beyond_error=_at(limits.beyond_error, float(first.score)),
    )


def _at(limit: Limit | None, first: float) -> float | None:
    return limit.at(first) if limit else None


# Treatment


def given(episode: Episode, occasion: Occasion) -> Given:
    """Treatment days by the rule of plans of care, treatment as it was signed. Two queries."""
    treated = treated_notes().filter(episode=episode, visited_on__lte=occasion.period_to)
    days = sorted(set(treated.values_list("visited_on", flat=True)))
    own = [on for on in days if on >= occasion.period_from]
    notes = list(_signed_notes(episode, occasion))
    timings = [note["timing"] for note in notes if note["timing"]]
    return Given(
        days=len(own),
        days_in_all=len(days),
        first_on=own[0] if own else None,
        last_on=own[-1] if own else None,
        services=services_given(note["lines"] or [] for note in notes),
        treatment_min=sum(timing["treatment_min"] for timing in timings),
        timed_min=sum(timing["timed_min"] for timing in timings),
        units=sum(timing["total_units"] for timing in timings),
        rules=tuple(dict.fromkeys(timing["rule"] for timing in timings)),
        responses=tuple(note["response"] for note in notes if note["response"]),
    )


def _signed_notes(episode: Episode, occasion: Occasion) -> Any:
    """Of the period, oldest first: what was signed, never what a list of services says today."""
    period = (occasion.period_from, occasion.period_to)
    rows = VisitNote.objects.filter(
        episode=episode, signed_at__isnull=False, visited_on__range=period
    )
    return rows.order_by("visited_on", "begun_at").values(
        "response", lines=F("signed__shown__treatments"), timing=F("signed__shown__timing")
    )


def services_given(notes: Iterable[Sequence[Mapping[str, Any]]]) -> tuple[ServiceTold, ...]:
    """Lines of notes, summed by code. Each line of a note carries its code's units of the visit."""
    told: dict[str, ServiceTold] = {}
    for lines in notes:
        for code in dict.fromkeys(line["code"] for line in lines):
            own = [line for line in lines if line["code"] == code]
            told[code] = _added(told.get(code), own)
    return tuple(sorted(told.values(), key=lambda each: (-each.minutes, each.code)))


def _added(before: ServiceTold | None, lines: Sequence[Mapping[str, Any]]) -> ServiceTold:
    line = lines[0]
    return ServiceTold(
        code=line["code"],
        name=line["name"],
        is_timed=line["is_timed"],
        visits=(before.visits if before else 0) + 1,
        minutes=(before.minutes if before else 0) + sum(each["minutes"] for each in lines),
        units=(before.units if before else 0) + line["units"],
    )


# The end


def ending_of(episode: Episode, occasion: Occasion, found: Iterable[LimbFindings]) -> Ending:
    """Why care ended and what the client goes home with. `found`: findings, oldest first."""
    on = occasion.period_to
    ends = [each for each in episode.phase_changes.all() if each.since_on <= on]
    last = ends[-1] if ends and ends[-1].phase == Phase.DISCHARGED else None
    held, worn = in_hand(episode), wear_text(episode)
    return Ending(
        opened_on=episode.opened_on,
        ended_on=last.since_on if last else None,
        reason=last.reason if last else "",
        missed=_missed(episode, on),
        first_stages=_first_stages(found),
        garments=tuple(_garment(each) for each in worn_now(episode)),
        programme=_programme(held),
        wear_schedule=(held.wear_schedule if held else "") or worn,
        booked_on=_booked_on(episode, on),
    )


def _missed(episode: Episode, until_on: date) -> int:
    """Visits missed or cancelled late. A booking is the client's: it knows no episode."""
    period = (episode.opened_on, until_on)
    missed = Appointment.objects.filter(client=episode.client_id, status__in=MISSED)
    return missed.filter(period__startswith__date__range=period).count()


def _first_stages(found: Iterable[LimbFindings]) -> tuple[StageFirst, ...]:
    """Of each region that was looked at again; the last look stands beside it."""
    first: dict[int, LimbFindings] = {}
    last: dict[int, LimbFindings] = {}
    for each in found:
        first.setdefault(each.region_id, each)
        last[each.region_id] = each
    return tuple(
        StageFirst(str(each.region), Stage(each.stage).label, each.found_on)
        for each in first.values()
        if each is not last[each.region_id]
    )


def _garment(garment: Garment) -> GarmentTold:
    return GarmentTold(
        words=f"{garment.where}: {garment.pressure_words}",
        worn=WornBy(garment.worn_by).label,
        issued_on=garment.issued_on or garment.recorded_at.date(),
        replacement_due_on=garment.replacement_due_on,
    )


def _programme(held: Programme | None) -> ProgrammeTold | None:
    if held is None or held.issued_at is None:
        return None
    issued_on = timezone.localdate(held.issued_at)
    return ProgrammeTold(held.number, issued_on, held.times_a_day)


def _booked_on(episode: Episode, on: date) -> date | None:
    """The next booking after the period. One query."""
    coming = Appointment.objects.filter(
        client=episode.client_id,
        status__in=STILL_TO_COME,
        period__startswith__date__gte=on + timedelta(days=1),
    )
    found = coming.order_by("period").annotate(on=TruncDate(starts_at()))
    booked_on: date | None = found.values_list("on", flat=True).first()
    return booked_on
