"""Pages that find, register, edit, deactivate and reactivate clients."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from clinic.accounts.permits import permit
from clinic.clients import services
from clinic.clients.errors import LooksLikeAnother
from clinic.clients.forms.clients import ClientForm, DeactivateForm, ReferrerForm, SearchForm
from clinic.clients.models import Client, Referrer
from clinic.clients.selectors import (
    Order,
    clients_for,
    clients_found,
    look_alikes,
    referrers_to_choose,
)
from clinic.clients.sentences import sentence
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send

SECTION = {"section": "clients"}


@permit("clients.find")
@look_or_send
def clients(request: HttpRequest) -> HttpResponse:
    search = SearchForm(request.POST).search()
    context = {
        "found": clients_found(request.user, search),
        "search": search,
        "orders": list(Order),
    }
    template = "clients/_found.html" if request.htmx else "clients/clients.html"
    return render(request, template, context | SECTION)


@permit("clients.register")
@look_or_send
def register(request: HttpRequest) -> HttpResponse:
    form = ClientForm(request.POST or None, referrers=referrers_to_choose())
    referrer_form = _new_referrer_form(request)
    alike = ()
    if form.is_valid() and referrer_form.is_valid():
        with form.catching(RuleBroken):
            try:
                client = services.register_client(
                    client=form.instance,
                    by=request.user,
                    new_referrer=_new_referrer(referrer_form),
                    is_deliberate=_has_seen_all_alike(request, form.instance),
                )
            except LooksLikeAnother as error:
                alike = error.look_alikes
                raise
            messages.success(request, f"Registered, record number {client.record_number}.")
            return redirect("client", client.pk)
    context = {"form": form, "referrer_form": referrer_form, "look_alikes": alike}
    return render(request, "clients/client_form.html", context | SECTION)


@permit("clients.edit")
@look_or_send
def edit(request: HttpRequest, client_id: UUID) -> HttpResponse:
    client = get_object_or_404(clients_for(request.user), pk=client_id)
    name, choices = str(client), referrers_to_choose(chosen_id=client.referrer_id)
    form = ClientForm(request.POST or None, instance=client, referrers=choices)
    if form.is_valid():
        with form.catching(RuleBroken):
            services.edit_client(client=client, before=form.said_before(), by=request.user)
            messages.success(request, "Saved.")
            return redirect("client", client_id)
    if request.method == "GET":
        services.note_client_opened(client=client, by=request.user)
    context = {"form": form, "client": client, "name": name}
    return render(request, "clients/client_form.html", context | SECTION)


@permit("clients.deactivate")
@look_or_send
def deactivate(request: HttpRequest, client_id: UUID) -> HttpResponse:
    client = get_object_or_404(clients_for(request.user).filter(deactivated_at=None), pk=client_id)
    form = DeactivateForm(request.POST or None, back=reverse("client", args=[client_id]))
    if form.is_valid():
        with form.catching(RuleBroken):
            services.deactivate_client(
                client=client, reason=form.cleaned_data["reason"], by=request.user
            )
            messages.success(request, f"{client} is off the lists. Reactivating undoes this.")
            return redirect("client", client_id)
    return render(request, "clients/deactivate.html", {"form": form, "client": client} | SECTION)


@permit("clients.deactivate")
@require_POST
def reactivate(request: HttpRequest, client_id: UUID) -> HttpResponse:
    client = get_object_or_404(clients_for(request.user), pk=client_id)
    try:
        services.reactivate_client(client=client, by=request.user)
    except RuleBroken as error:
        messages.error(request, sentence(error))
    else:
        messages.success(request, f"{client} is back on the lists.")
    return redirect("client", client_id)


def _has_seen_all_alike(request: HttpRequest, client: Client) -> bool:
    """Whether "Register anyway" was pressed below a list that named everybody alike."""
    seen = request.POST.get("anyway", "").split()
    return bool(seen) and all(str(alike.client.pk) in seen for alike in look_alikes(client))


def _new_referrer_form(request: HttpRequest) -> ReferrerForm:
    """The part of the registration form for a referrer who is not on the list yet."""
    return ReferrerForm(
        request.POST or None, prefix="new", empty_permitted=True, use_required_attribute=False
    )


def _new_referrer(form: ReferrerForm) -> Referrer | None:
    return form.instance if form.has_changed() else None
