"""The content of a plan as it is signed, sealed and printed: one mapping, and as a page reads it.

The same mapping makes the page of a draft and of a signed plan, so that what was looked at is what
is signed. A printed signed plan is read from the mapping kept with it, not from the live record.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from clinic.accounts.models import Practice
from clinic.clients.diagnoses import DIAGNOSES
from clinic.clients.models import Client, Episode
from clinic.common.vocabulary import Involvement
from clinic.visits.goal_measures import Judged, judged_by
from clinic.visits.plans import Goal, PlanOfCare

SHEET_VERSION = 1

Content = dict[str, Any]


def plan_content(plan: PlanOfCare, practice: Practice) -> Content:
    """All that a plan says. Its goals, its episode's regions, client and referrer are read."""
    return {
        "content": "plan of care",
        "version": SHEET_VERSION,
        "plan": {
            "id": str(plan.pk),
            "number": plan.number,
            "from_on": plan.from_on.isoformat(),
            "to_on": plan.to_on.isoformat(),
            "visits_a_week": plan.visits_a_week,
            "weeks": plan.weeks,
            "treatment": plan.treatment,
            "outlook": plan.outlook,
        },
        "goals": [_goal(plan, goal) for goal in plan.goals.all()],
        "client": _client(plan.episode.client),
        "episode": _episode(plan.episode),
        "practice": _practice(practice),
    }


def with_signature(content: Content, *, signature: str, user_id: int, at: datetime) -> Content:
    """The content as it is sealed."""
    signed = {"by": signature, "user_id": user_id, "at": at.isoformat(timespec="seconds")}
    return content | {"signed": signed}


def _goal(plan: PlanOfCare, goal: Goal) -> Content:
    return {
        "number": f"{plan.number}.{goal.place + 1}",
        "text": goal.text,
        "measure": goal.measure,
        "instrument": goal.instrument,
        "baseline": _number(goal.baseline),
        "target": _number(goal.target),
        "due_on": goal.due_on.isoformat(),
    }


def _number(value: Decimal | None) -> str | None:
    """With the two decimals the database keeps, whichever way it was typed."""
    return None if value is None else f"{value:.2f}"


def _client(client: Client) -> Content:
    return {
        "id": str(client.pk),
        "name": f"{client.given_name} {client.family_name}",
        "born_on": client.born_on.isoformat(),
        "record_number": client.record_number,
    }


def _episode(episode: Episode) -> Content:
    regions = (f"{each} ({Involvement(each.involvement).label})" for each in episode.regions.all())
    referrer = episode.referrer
    return {
        "id": str(episode.pk),
        "opened_on": episode.opened_on.isoformat(),
        "diagnosis": episode.diagnosis,
        "diagnosis_words": DIAGNOSES.get(episode.diagnosis, ""),
        "regions": list(regions),
        "referrer": str(referrer) if referrer else "",
        "referrer_organisation": referrer.organisation if referrer else "",
    }


def _practice(practice: Practice) -> Content:
    names = ("name", "street", "town", "phone", "fax", "email", "paper_size")
    return {name: str(getattr(practice, name)) for name in names}


# As a page reads it


@dataclass(frozen=True)
class GoalLine:
    """One goal as printed. Numbers in the unit of what it is judged by."""

    number: str
    text: str
    judged: Judged
    baseline: Decimal | None
    target: Decimal | None
    due_on: date


@dataclass(frozen=True)
class Signature:
    by: str
    at: datetime


@dataclass(frozen=True)
class PlanSheet:
    """A plan as its page and its paper show it. `signature` is None for a draft."""

    number: int
    from_on: date
    to_on: date
    visits_a_week: int
    weeks: int
    treatment: str
    outlook: str
    goals: tuple[GoalLine, ...]
    client: Mapping[str, Any]
    born_on: date
    episode: Mapping[str, Any]
    opened_on: date
    practice: Mapping[str, str]
    signature: Signature | None

    @property
    def is_draft(self) -> bool:
        return self.signature is None


def plan_sheet(content: Mapping[str, Any]) -> PlanSheet:
    """The content, kept or just made, with days as days and numbers as numbers."""
    plan, signed = content["plan"], content.get("signed")
    return PlanSheet(
        number=plan["number"],
        from_on=date.fromisoformat(plan["from_on"]),
        to_on=date.fromisoformat(plan["to_on"]),
        visits_a_week=plan["visits_a_week"],
        weeks=plan["weeks"],
        treatment=plan["treatment"],
        outlook=plan["outlook"],
        goals=tuple(_line(goal) for goal in content["goals"]),
        client=content["client"],
        born_on=date.fromisoformat(content["client"]["born_on"]),
        episode=content["episode"],
        opened_on=date.fromisoformat(content["episode"]["opened_on"]),
        practice=content["practice"],
        signature=Signature(signed["by"], datetime.fromisoformat(signed["at"])) if signed else None,
    )


def _line(goal: Mapping[str, Any]) -> GoalLine:
    baseline, target = goal["baseline"], goal["target"]
    return GoalLine(
        number=goal["number"],
        text=goal["text"],
        judged=judged_by(goal["measure"], goal["instrument"]),
        baseline=None if baseline is None else Decimal(baseline),
        target=None if target is None else Decimal(target),
        due_on=date.fromisoformat(goal["due_on"]),
    )
