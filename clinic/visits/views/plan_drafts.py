"""The draft of a plan of care: begin, edit, discard."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from clinic.accounts.permits import permit
from clinic.clients.models import Episode
from clinic.clients.selectors import current_phase
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.common.vocabulary import Phase
from clinic.visits import plan_start
from clinic.visits.forms.plans import PlanFields, goal_initial
from clinic.visits.goal_measures import judged_as
from clinic.visits.plan_errors import PlanChanged, PlanDraftExists, PlanKept
from clinic.visits.plan_sentences import sentence
from clinic.visits.plans import PlanOfCare
from clinic.visits.selectors.plan_sheets import digest_of
from clinic.visits.selectors.plans import PlanCard, plan_card
from clinic.visits.services import plans as keeping
from clinic.visits.views.plans import SECTION, found_episode, found_plan

KEPT = "Draft kept. Read it once more, then sign it."


@permit("plans.write")
@look_or_send
def new(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    episode = found_episode(request, episode_id)
    card = plan_card(episode)
    if card.draft and request.method != "POST":
        messages.info(request, sentence(PlanDraftExists(card.draft)))
        return redirect("plan", card.draft.pk)
    begins, goals = _begins(episode, card)
    fields = PlanFields(request.POST or None, begins=begins, goals=goals, card=card)
    if fields.is_valid():
        with fields.catching():
            kept = keeping.begin_plan(episode=episode, typed=fields.typed(), by=request.user)
            messages.success(request, KEPT)
            return redirect("plan", kept.pk)
    return _form_page(request, fields, card, episode=episode)


def _begins(episode: Episode, card: PlanCard) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """What the fields begin with: the plan before and its goals still open, else the usual."""
    phase = Phase(current_phase(episode).phase)
    days = card.rules.certified_days
    begins = plan_start.usual_plan(card.on, phase=phase, certified_days=days, before=card.plan)
    still_open = [
        goal_initial(keeping.goal_typed(row.goal)) | {"due_on": None}
        for row in card.goals
        if not row.is_closed
    ]
    first = plan_start.usual_goal(card.on, weeks=begins["weeks"], values=card.values)
    return begins, still_open or [first]


@permit("plans.write")
@look_or_send
def edit(request: HttpRequest, plan_id: UUID) -> HttpResponse:
    found = found_plan(request, plan_id)
    if found.signed_at:
        messages.error(request, sentence(PlanKept()))
        return redirect("plan", found.pk)
    typed, card = keeping.typed_of(found), plan_card(found.episode)
    begins = {name: getattr(typed, name) for name in keeping.PLAIN_FIELDS}
    begins["seen"] = digest_of(found)
    goals = [goal_initial(goal) for goal in typed.goals]
    fields = PlanFields(request.POST or None, begins=begins, goals=goals, card=card)
    if fields.is_valid():
        with fields.catching():
            return _edited(request, found, fields)
    keeping.note_look(plan=found, verb="plan.seen", by=request.user)
    return _form_page(request, fields, card, plan=found)


def _edited(request: HttpRequest, found: PlanOfCare, fields: PlanFields) -> HttpResponse:
    try:
        keeping.edit_plan(plan=found, typed=fields.typed(), seen=fields.seen, by=request.user)
    except PlanChanged:
        fields.see(digest_of(found_plan(request, found.pk)))
        raise
    messages.success(request, KEPT)
    return redirect("plan", found.pk)


def _form_page(request: HttpRequest, fields: PlanFields, card: PlanCard, **of: Any) -> HttpResponse:
    plan = of.get("plan")
    context = {
        "episode": plan.episode if plan else of["episode"],
        "plan": plan,
        "fields": fields,
        "card": card,
        "measured": [(judged_as(written), value) for written, value in card.values.items()],
    }
    return render(request, "visits/plan_form.html", context | SECTION)


@permit("plans.write")
@look_or_send
def discard(request: HttpRequest, plan_id: UUID) -> HttpResponse:
    found = found_plan(request, plan_id)
    if request.method == "POST":
        try:
            keeping.discard_plan(plan=found, by=request.user)
            messages.success(request, "The draft is gone. Signed plans stay as they are.")
        except RuleBroken as error:
            messages.error(request, sentence(error))
        return redirect("plans", found.episode_id)
    context = {"plan": found, "episode": found.episode}
    return render(request, "visits/plan_discard.html", context | SECTION)
