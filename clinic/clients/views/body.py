"""Pages that add and remove cancer treatments, and find and clear precautions."""

from uuid import UUID

from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from clinic.accounts.permits import permit
from clinic.clients import selectors, services
from clinic.clients.forms.body import TREATMENT_FORMS, ClearPrecautionForm, PrecautionForm
from clinic.clients.models import CancerTreatment, Client, PrecautionFound
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send

SECTION = {"section": "clients"}
KIND_NAMES = {
    "surgery": "Surgery",
    "nodes": "Node surgery",
    "radiation": "Radiation",
    "drugs": "Drug treatment",
}


@permit("episodes.edit")
@look_or_send
def add_treatment(request: HttpRequest, client_id: UUID, kind: str) -> HttpResponse:
    client = _client(request, client_id)
    treatment = _treatments(client, kind).model(client=client)
    back = reverse("client", args=[client_id])
    form = TREATMENT_FORMS[kind](request.POST or None, instance=treatment, back=back)
    if form.is_valid():
        with form.catching(RuleBroken):
            services.add_treatment(treatment=treatment, by=request.user)
            messages.success(request, "Added.")
            return redirect("client", client_id)
    context = {"client": client, "form": form, "kind": kind, "kinds": KIND_NAMES}
    context["kind_name"] = KIND_NAMES[kind]
    return render(request, "clients/treatment_form.html", context | SECTION)


@permit("episodes.edit")
@look_or_send
def remove_treatment(
    request: HttpRequest, client_id: UUID, kind: str, treatment_id: int
) -> HttpResponse:
    client = _client(request, client_id)
    treatment = get_object_or_404(_treatments(client, kind), pk=treatment_id)
    if request.method == "POST":
        services.remove_treatment(treatment=treatment, by=request.user)
        messages.success(request, "Removed.")
        return redirect("client", client_id)
    context = {"client": client, "treatment": treatment}
    return render(request, "clients/treatment_remove.html", context | SECTION)


@permit("precautions.edit")
@look_or_send
def record_precaution(request: HttpRequest, client_id: UUID) -> HttpResponse:
    client = _client(request, client_id)
    found = PrecautionFound(client=client, found_on=timezone.localdate())
    back = reverse("client", args=[client_id])
    form = PrecautionForm(request.POST or None, instance=found, back=back)
    if form.is_valid():
        with form.catching(RuleBroken):
            services.record_precaution(found=found, by=request.user)
            messages.success(request, "The precaution is recorded.")
            return redirect("client", client_id)
    standing = selectors.open_precautions(client)
    context = {"client": client, "form": form, "standing": standing}
    return render(request, "clients/precaution_form.html", context | SECTION)


@permit("precautions.edit")
@look_or_send
def clear_precaution(request: HttpRequest, client_id: UUID, precaution_id: int) -> HttpResponse:
    client = _client(request, client_id)
    found = get_object_or_404(selectors.precautions_of(client), pk=precaution_id)
    today = {"cleared_on": timezone.localdate()}
    back = reverse("client", args=[client_id])
    form = ClearPrecautionForm(request.POST or None, initial=today, back=back)
    if form.is_valid():
        with form.catching(RuleBroken):
            services.clear_precaution(found=found, by=request.user, **form.cleaned_data)
            messages.success(request, "The precaution is cleared.")
            return redirect("client", client_id)
    context = {"client": client, "form": form, "found": found}
    return render(request, "clients/precaution_clear.html", context | SECTION)


def _client(request: HttpRequest, client_id: UUID) -> Client:
    return get_object_or_404(selectors.clients_for(request.user), pk=client_id)


def _treatments(client: Client, kind: str) -> QuerySet[CancerTreatment]:
    if kind not in selectors.TREATMENT_KINDS:
        raise Http404
    return selectors.treatments_of(client, kind)
