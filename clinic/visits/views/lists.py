"""Pages about the clinic's services, phrases and rules for charting."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import permit
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.visits.forms.lists import PhraseForm, RulesForm, ServiceForm
from clinic.visits.lists import Phrase, Service
from clinic.visits.phrases import PLACEHOLDERS
from clinic.visits.selectors import lists as reads
from clinic.visits.services import lists as writes


@permit("charting.manage")
@require_safe
def services(request: HttpRequest) -> HttpResponse:
    return render(request, "visits/services.html", {"services": reads.services()})


@permit("charting.manage")
@look_or_send
def service(request: HttpRequest, service_id: int | None = None) -> HttpResponse:
    kept = Service()
    if service_id is not None:
        kept = get_object_or_404(reads.services(), pk=service_id)
    form = ServiceForm(request.POST or None, instance=kept, back=reverse("charting-services"))
    if form.is_valid():
        with form.catching(RuleBroken):
            writes.keep_service(service=form.instance, by=request.user)
            messages.success(request, "Kept. Notes already signed stay as they are.")
            return redirect("charting-services")
    return render(request, "visits/service_form.html", {"form": form, "is_new": service_id is None})


@permit("charting.manage")
@require_safe
def phrases(request: HttpRequest) -> HttpResponse:
    return render(request, "visits/phrases.html", {"phrases": reads.phrases()})


@permit("charting.manage")
@look_or_send
def phrase(request: HttpRequest, phrase_id: int | None = None) -> HttpResponse:
    kept = Phrase()
    if phrase_id is not None:
        kept = get_object_or_404(reads.phrases(), pk=phrase_id)
    form = PhraseForm(request.POST or None, instance=kept, back=reverse("charting-phrases"))
    if form.is_valid():
        with form.catching(RuleBroken):
            writes.keep_phrase(phrase=form.instance, by=request.user)
            messages.success(request, "Kept.")
            return redirect("charting-phrases")
    shown = {"form": form, "phrase_id": phrase_id, "placeholders": PLACEHOLDERS.items()}
    return render(request, "visits/phrase_form.html", shown)


@permit("charting.manage")
@require_POST
def remove_phrase(request: HttpRequest, phrase_id: int) -> HttpResponse:
    kept = get_object_or_404(reads.phrases(), pk=phrase_id)
    writes.remove_phrase(phrase=kept, by=request.user)
    messages.success(request, f"The phrase “{kept.name}” is off the list.")
    return redirect("charting-phrases")


@permit("charting.manage")
@look_or_send
def charting_rules(request: HttpRequest) -> HttpResponse:
    back = reverse("charting-services")
    form = RulesForm(request.POST or None, instance=reads.charting_rules(), back=back)
    if form.is_valid():
        writes.keep_rules(rules=form.instance, by=request.user)
        messages.success(request, "Kept.")
        return redirect("charting-rules")
    return render(request, "visits/charting_rules.html", {"form": form})
