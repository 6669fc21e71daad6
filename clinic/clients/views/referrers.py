"""Pages that list, add, edit, deactivate and reactivate referrers."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from clinic.accounts.permits import permit
from clinic.clients import selectors, services
from clinic.clients.forms.clients import ReferrerForm, SearchForm
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send

SECTION = {"section": "referrers"}


@permit("referrers.see")
@look_or_send
def referrers(request: HttpRequest) -> HttpResponse:
    search = SearchForm(request.POST).search()
    context = {"found": selectors.referrers_found(search), "search": search}
    template = "clients/_referrers_found.html" if request.htmx else "clients/referrers.html"
    return render(request, template, context | SECTION)


@permit("referrers.edit")
@look_or_send
def add(request: HttpRequest) -> HttpResponse:
    form = ReferrerForm(request.POST or None)
    if form.is_valid():
        with form.catching(RuleBroken):
            services.add_referrer(referrer=form.instance, by=request.user)
            messages.success(request, f"Added {form.instance}.")
            return redirect("referrers")
    return render(request, "clients/referrer_form.html", {"form": form} | SECTION)


@permit("referrers.edit")
@look_or_send
def edit(request: HttpRequest, referrer_id: UUID) -> HttpResponse:
    referrer = get_object_or_404(selectors.referrers(), pk=referrer_id)
    name, form = str(referrer), ReferrerForm(request.POST or None, instance=referrer)
    if form.is_valid():
        with form.catching(RuleBroken):
            services.edit_referrer(referrer=referrer, before=form.said_before(), by=request.user)
            messages.success(request, f"Saved {referrer}.")
            return redirect("referrers")
    context = {"form": form, "referrer": referrer, "name": name}
    return render(request, "clients/referrer_form.html", context | SECTION)


@permit("referrers.edit")
@require_POST
def deactivate(request: HttpRequest, referrer_id: UUID) -> HttpResponse:
    referrer = get_object_or_404(selectors.referrers(), pk=referrer_id)
    services.deactivate_referrer(referrer=referrer, by=request.user)
    messages.success(request, f"{referrer} is no longer offered. Reactivating undoes this.")
    return redirect("referrer-edit", referrer_id)


@permit("referrers.edit")
@require_POST
def reactivate(request: HttpRequest, referrer_id: UUID) -> HttpResponse:
    referrer = get_object_or_404(selectors.referrers(), pk=referrer_id)
    services.reactivate_referrer(referrer=referrer, by=request.user)
    messages.success(request, f"{referrer} is offered again.")
    return redirect("referrer-edit", referrer_id)
