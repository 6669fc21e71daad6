"""The review of one goal, with the measured value offered."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.accounts.permits import permit
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.visits.forms.plans import ReviewGoalForm, next_review
from clinic.visits.plan_errors import NotSignedYet
from clinic.visits.plan_sentences import sentence
from clinic.visits.selectors.plans import goal_row, goals_for
from clinic.visits.services.goals import review_goal
from clinic.visits.views.plans import SECTION


@permit("plans.write")
@look_or_send
def review(request: HttpRequest, goal_id: int) -> HttpResponse:
    goal = get_object_or_404(goals_for(request.user), pk=goal_id)
    plan, row, today = goal.plan, goal_row(goal), timezone.localdate()
    if plan.signed_at is None:
        messages.error(request, sentence(NotSignedYet()))
        return redirect("plan", plan.pk)
    value = row.judged.rounded(row.value.value) if row.value else None
    form = ReviewGoalForm(
        request.POST or None,
        initial=next_review(today, row.offered(today), value),
        judged=row.judged,
        back=reverse("plan", args=[plan.pk]),
    )
    if form.is_valid():
        with form.catching(RuleBroken):
            review_goal(goal=goal, reviewed=form.reviewed(), by=request.user)
            messages.success(request, "Review kept.")
            return redirect("plan", plan.pk)
    context = {"row": row, "plan": plan, "episode": plan.episode, "form": form}
    return render(request, "visits/goal_review.html", context | SECTION)
