"""Emergency access at the desk, and the lead's review of it."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_safe

from clinic.accounts.permits import permit
from clinic.audit import services as audit
from clinic.clients import emergency_services as services
from clinic.clients.errors import EmergencyReviewed
from clinic.clients.forms.emergency import ReasonForm, ReviewForm
from clinic.clients.selectors import client_card, clients_for
from clinic.common.methods import look_or_send


@permit("emergency.open")
@look_or_send
def emergency(request: HttpRequest, client_id: UUID) -> HttpResponse:
    client = get_object_or_404(clients_for(request.user), pk=client_id)
    until = services.open_until(client, request.user)
    form = ReasonForm(request.POST or None, client=client)
    if request.method == "POST" and until is None and form.is_valid():
        services.open_emergency(client=client, reason=form.cleaned_data["reason"], by=request.user)
        return redirect("client-emergency", client_id)
    shown = {"section": "clients", "card": client_card(client), "form": form, "until": until}
    if until is not None:
        audit.record(request.user, "emergency.seen", client=client)
        shown["story"] = services.emergency_card(client)
    return render(request, "clients/emergency.html", shown)


@permit("emergency.review")
@require_safe
def emergencies(request: HttpRequest) -> HttpResponse:
    page = services.emergency_page(request.user, request.GET.get("page"))
    audit.record(request.user, "emergencies.seen")
    shown = {"section": "practice", "page": page}
    return render(request, "clients/emergencies.html", shown)


@permit("emergency.review")
@look_or_send
def review(request: HttpRequest, access_id: int) -> HttpResponse:
    access = get_object_or_404(services.to_review(request.user), pk=access_id)
    form = ReviewForm(request.POST or None)
    if form.is_valid():
        with form.catching(EmergencyReviewed):
            services.review_emergency(
                access=access, review=form.cleaned_data["review"], by=request.user
            )
            messages.success(request, "Reviewed and kept.")
            return redirect("emergencies")
    shown = {"section": "practice", "access": access, "form": form}
    return render(request, "clients/emergency_review.html", shown)
