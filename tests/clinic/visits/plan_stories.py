"""Plans of care that the tests begin with."""

from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from django.utils import timezone

from clinic.accounts.models import Practice, User
from clinic.clients.models import Episode
from clinic.visits.goal_measures import judged_as
from clinic.visits.lists import Service
from clinic.visits.models import TreatmentEntry, VisitNote
from clinic.visits.plan_typed import GoalTyped, PlanTyped
from clinic.visits.plans import PlanOfCare
from clinic.visits.selectors.plan_sheets import digest_of
from clinic.visits.services.plans import Certified, begin_plan, certify_plan, sign_plan
from clinic.visits.words import VisitKind
from tests.builders import (
    make_client,
    make_episode,
    make_protocol,
    make_referrer,
    make_session,
    today,
)


def days_ago(days: int) -> date:
    return today() - timedelta(days=days)


def make_practice(**differences: Any) -> Practice:
    values = {
        "name": "Tidewater Lymphedema Practice",
        "street": "12 Harbour Street",
        "town": "Saltmere, NY 10001",
        "phone": "555 0100",
        "fax": "555 0101",
    }
    return Practice.objects.update_or_create(pk=1, defaults=values | differences)[0]


def arm_episode(by: User, **differences: Any) -> Episode:
    client = make_client(referrer=make_referrer())
    return make_episode(client, by, **{"opened_on": days_ago(60)} | differences)


def taped_episode(by: User) -> Episode:
    """The constructed arms of the published worked examples, taped yesterday: excess 20 %."""
    episode = arm_episode(by)
    make_session(episode, make_protocol(), taken_on=days_ago(1), is_baseline=True)
    return episode


def excess_goal(**differences: Any) -> GoalTyped:
    values = {
        "text": "Arm excess under 10 % so that work sleeves fit",
        "judged": judged_as("excess_percent"),
        "due_on": today() + timedelta(weeks=4),
        "baseline": Decimal(18),
        "target": Decimal(10),
    }
    return GoalTyped(**values | differences)


def told_goal(**differences: Any) -> GoalTyped:
    values = {
        "text": "Dons the garment alone within five minutes",
        "judged": judged_as("told"),
        "due_on": today() + timedelta(weeks=2),
    }
    return GoalTyped(**values | differences)


def typed(**differences: Any) -> PlanTyped:
    values = {
        "from_on": today(),
        "to_on": today() + timedelta(days=59),
        "visits_a_week": 5,
        "weeks": 4,
        "treatment": "Manual drainage, multi-layer bandaging, exercise, skin care.",
        "outlook": "Good",
        "goals": (excess_goal(), told_goal()),
    }
    return PlanTyped(**values | differences)


def draft(episode: Episode, **differences: Any) -> PlanOfCare:
    return begin_plan(episode=episode, typed=typed(**differences), by=episode.therapist)


def signed(episode: Episode, **differences: Any) -> PlanOfCare:
    plan = draft(episode, **differences)
    return sign_plan(plan=plan, seen=digest_of(plan), by=episode.therapist)


def certified(episode: Episode, **differences: Any) -> PlanOfCare:
    plan = signed(episode, **differences)
    paper = Certified("Odile Farrow, MD", today())
    return certify_plan(plan=plan, certified=paper, by=episode.therapist)


def treated(
    episode: Episode, on: date, *, kind: VisitKind = VisitKind.TREATMENT, minutes: int = 45
) -> VisitNote:
    """A signed note of a day, with one treatment unless `minutes` is 0."""
    by = episode.therapist
    note = VisitNote.objects.create(
        episode=episode, kind=kind, visited_on=on, therapist=by, begun_by=by, edited_by=by
    )
    if minutes:
        service, _ = Service.objects.get_or_create(
            code="T1", defaults={"name": "Drainage by hand", "active_from": date(2020, 1, 1)}
        )
        TreatmentEntry.objects.create(note=note, service=service, minutes=minutes)
    note.signed_at = timezone.make_aware(datetime.combine(on, time(12)))
    note.signed_by, note.signature = by, by.signature
    note.signed, note.seal = {"note": str(note.pk)}, "0" * 64
    note.save()
    return note
