"""What payers have authorised for a client."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from clinic.accounts.permits import permit
from clinic.clients.selectors import clients_for
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.scheduling.forms.desk import AuthorisationForm
from clinic.scheduling.selectors.authorisations import authorisations_for, standings
from clinic.scheduling.services import authorisations as services

SECTION = {"section": "clients"}


@permit("schedule.see")
@require_safe
def authorisations(request: HttpRequest, client_id: UUID) -> HttpResponse:
    client = get_object_or_404(clients_for(request.user), pk=client_id)
    today = timezone.localdate()
    services.note_authorisations_seen(client=client, by=request.user)
    shown = {"client": client, "standings": standings(client, on=today), "today": today}
    return render(request, "scheduling/authorisations.html", shown | SECTION)


@permit("schedule.book")
@look_or_send
def record(request: HttpRequest, client_id: UUID) -> HttpResponse:
    client = get_object_or_404(clients_for(request.user), pk=client_id)
    back = reverse("authorisations", args=[client.pk])
    form = AuthorisationForm(request.POST or None, back=back)
    if form.is_valid():
        with form.catching(RuleBroken):
            services.record_authorisation(client=client, said=form.cleaned_data, by=request.user)
            messages.success(request, "The authorisation is kept.")
            return redirect(back)
    shown = {"client": client, "form": form, "title": "Record an authorisation"}
    return render(request, "scheduling/authorisations_form.html", shown | SECTION)


@permit("schedule.book")
@look_or_send
def edit(request: HttpRequest, authorisation_id: int) -> HttpResponse:
    found = get_object_or_404(authorisations_for(request.user), pk=authorisation_id)
    back = reverse("authorisations", args=[found.client_id])
    initial = {name: getattr(found, name) for name in services.FIELDS}
    form = AuthorisationForm(request.POST or None, initial=initial, back=back)
    if form.is_valid():
        with form.catching(RuleBroken):
            services.edit_authorisation(
                authorisation=found, said=form.cleaned_data, by=request.user
            )
            messages.success(request, "The authorisation is corrected.")
            return redirect(back)
    shown = {"client": found.client, "form": form, "title": "Correct an authorisation"}
    return render(request, "scheduling/authorisations_form.html", shown | SECTION)
