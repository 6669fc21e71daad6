"""Plans of care to read: an episode's, and one."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from clinic.accounts.permits import permit
from clinic.clients.services import note_episode_seen
from clinic.common.print import can_print
from clinic.visits.plan_sentences import INSTALL
from clinic.visits.plans import PlanOfCare
from clinic.visits.selectors.plan_sheets import sheet_of
from clinic.visits.selectors.plans import goal_rows, is_in_force, plan_card, plans_for
from clinic.visits.services import plans as keeping
from clinic.visits.views.pieces import SECTION, found_episode


def found_plan(request: HttpRequest, plan_id: UUID) -> PlanOfCare:
    return get_object_or_404(plans_for(request.user), pk=plan_id)


@permit("plans.see")
@require_safe
def plans(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    episode = found_episode(request, episode_id)
    card = plan_card(episode)
    if card.plans:
        keeping.note_look(plan=card.plan or card.plans[0], verb="plan.seen", by=request.user)
    else:
        note_episode_seen(episode=episode, by=request.user)
    context = {
        "episode": episode,
        "card": card,
        "plans": [(each, is_in_force(each, card.on)) for each in card.plans],
        "rows": card.goals,
    }
    return render(request, "visits/plans.html", context | SECTION)


@permit("plans.see")
@require_safe
def plan(request: HttpRequest, plan_id: UUID) -> HttpResponse:
    found = found_plan(request, plan_id)
    keeping.note_look(plan=found, verb="plan.seen", by=request.user)
    card = plan_card(found.episode)
    own = next(each for each in card.plans if each.pk == found.pk)
    context = {
        "plan": found,
        "episode": found.episode,
        "sheet": sheet_of(found),
        "card": card,
        "rows": goal_rows(own, card.values),
        "is_current": card.plan is not None and card.plan.pk == found.pk,
        "is_in_force": is_in_force(found, card.on),
        "install": "" if can_print() else INSTALL,
    }
    return render(request, "visits/plan.html", context | SECTION)
