"""Findings of a region, the stage they suggest and the stage decided."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import permit
from clinic.audit import services as audit
from clinic.clients.models import AffectedRegion
from clinic.common.methods import look_or_send
from clinic.common.vocabulary import Stage
from measurements.forms.findings import DecisionForm, FindingsForm
from measurements.limb.staging import suggest_stage
from measurements.selectors.findings import findings_history, regions_for, stemmer_site
from measurements.services.findings import Decision, FindingsError, record_findings


@permit("findings.record")
@look_or_send
def record(request: HttpRequest, region_id: int) -> HttpResponse:
    region = get_object_or_404(regions_for(request.user), pk=region_id)
    form, decision = _forms(request, region)
    if all([form.is_valid(), decision.is_valid()]):
        with decision.catching(FindingsError):
            record_findings(
                region=region,
                findings=form.findings(),
                decision=_decision(decision),
                by=request.user,
            )
            messages.success(request, f"Stage {decision.cleaned_data['stage']} is recorded.")
            return redirect("findings", region.pk)
    return _page(request, region, form, decision)


@permit("findings.record")
@require_POST
def suggest(request: HttpRequest, region_id: int) -> HttpResponse:
    """The stage that what is ticked so far suggests; nothing is saved."""
    region = get_object_or_404(regions_for(request.user), pk=region_id)
    form = FindingsForm(request.POST, stemmer_site=stemmer_site(region))
    if request.htmx:
        suggestion = suggest_stage(form.findings()) if form.is_valid() else None
        shown = {"suggestion": suggestion, "region": region}
        return render(request, "measurements/findings_suggestion.html", shown)
    return _page(request, region, form, DecisionForm(initial=request.POST.dict()))


@permit("episodes.see")
@require_safe
def history(request: HttpRequest, region_id: int) -> HttpResponse:
    region = get_object_or_404(regions_for(request.user), pk=region_id)
    audit.record(request.user, "episode.seen", client=region.episode.client, subject=region)
    shown = {"region": region, "looks": findings_history(region), "section": "clients"}
    return render(request, "measurements/findings.html", shown)


def _forms(request: HttpRequest, region: AffectedRegion) -> tuple[FindingsForm, DecisionForm]:
    posted = request.POST or None
    return FindingsForm(posted, stemmer_site=stemmer_site(region)), DecisionForm(posted)


def _decision(form: DecisionForm) -> Decision:
    typed = form.cleaned_data
    return Decision(
        found_on=typed["found_on"],
        stage=Stage(typed["stage"]),
        override_reason=typed["override_reason"],
        note=typed["note"],
    )


def _page(
    request: HttpRequest, region: AffectedRegion, form: FindingsForm, decision: DecisionForm
) -> HttpResponse:
    is_answered = form.is_bound and form.is_valid()
    shown = {
        "region": region,
        "form": form,
        "decision": decision,
        "suggestion": suggest_stage(form.findings()) if is_answered else None,
        "section": "clients",
    }
    return render(request, "measurements/findings_form.html", shown)
