"""A plan on its way over paper: signed, printed, come back certified, ended."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from clinic.accounts.permits import permit
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.common.print import can_print
from clinic.visits.forms.plans import CertifyForm, EndPlanForm, SeenForm
from clinic.visits.plan_errors import NotSignedYet
from clinic.visits.plan_pdf import plan_pdf
from clinic.visits.plan_sentences import INSTALL, sentence
from clinic.visits.plan_sheet import plan_sheet
from clinic.visits.plans import PlanOfCare
from clinic.visits.seal import seal_of
from clinic.visits.selectors.plan_sheets import draft_content, sheet_of
from clinic.visits.selectors.plans import plan_card
from clinic.visits.services import plans as keeping
from clinic.visits.views.plans import SECTION, found_plan


@permit("plans.sign")
@look_or_send
def sign(request: HttpRequest, plan_id: UUID) -> HttpResponse:
    found = found_plan(request, plan_id)
    if found.signed_at:
        return redirect("plan", found.pk)
    form = SeenForm(request.POST or None)
    if form.is_valid():
        with form.catching(RuleBroken):
            seen = form.cleaned_data["seen"]
            keeping.sign_plan(plan=found, seen=seen, by=request.user)
            messages.success(request, "Signed. Print it for the physician's signature.")
            return redirect("plan", found.pk)
    keeping.note_look(plan=found, verb="plan.seen", by=request.user)
    return _sign_page(request, found, form)


def _sign_page(request: HttpRequest, found: PlanOfCare, form: SeenForm) -> HttpResponse:
    content, card = draft_content(found), plan_card(found.episode)
    context = {
        "plan": found,
        "episode": found.episode,
        "form": form,
        "sheet": plan_sheet(content),
        "seen": seal_of(content),
        "before": card.plan if card.plan and card.plan.ended_on is None else None,
        "install": "" if can_print() else INSTALL,
    }
    return render(request, "visits/plan_sign.html", context | SECTION)


@permit("plans.write")
@look_or_send
def certify(request: HttpRequest, plan_id: UUID) -> HttpResponse:
    found = found_plan(request, plan_id)
    if found.signed_at is None:
        messages.error(request, sentence(NotSignedYet()))
        return redirect("plan", found.pk)
    form = CertifyForm(request.POST or None, back=reverse("plan", args=[found.pk]))
    if form.is_valid():
        with form.catching(RuleBroken):
            keeping.certify_plan(plan=found, certified=form.certified(), by=request.user)
            messages.success(request, "Certification noted. Keep the paper with the record.")
            return redirect("plan", found.pk)
    context = {
        "plan": found,
        "episode": found.episode,
        "form": form,
        "title": "Note the certification",
    }
    return render(request, "visits/plan_step.html", context | SECTION)


@permit("plans.sign")
@look_or_send
def end(request: HttpRequest, plan_id: UUID) -> HttpResponse:
    found = found_plan(request, plan_id)
    form = EndPlanForm(request.POST or None, back=reverse("plan", args=[found.pk]))
    if form.is_valid():
        with form.catching(RuleBroken):
            keeping.end_plan(plan=found, on=form.cleaned_data["ended_on"], by=request.user)
            messages.success(request, "The plan is ended. It stays in the record.")
            return redirect("plan", found.pk)
    context = {"plan": found, "episode": found.episode, "form": form, "title": "End the plan"}
    return render(request, "visits/plan_step.html", context | SECTION)


@permit("plans.see")
@require_safe
def printed(request: HttpRequest, plan_id: UUID) -> HttpResponse:
    """The page for both signatures; of a draft, marked as one."""
    found = found_plan(request, plan_id)
    try:
        content = plan_pdf(sheet_of(found))
    except RuleBroken as error:
        context = {"plan": found, "episode": found.episode, "why_not": sentence(error)}
        return render(request, "visits/plan_no_pdf.html", context | SECTION, status=503)
    keeping.note_look(plan=found, verb="plan.printed", by=request.user)
    named = f'inline; filename="plan-of-care-{found.number}.pdf"'
    return HttpResponse(
        content, content_type="application/pdf", headers={"Content-Disposition": named}
    )
