"""Today and the client page."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone

from clinic.accounts.permits import permit
from clinic.audit import services as audit
from clinic.clients.emergency_services import open_until
from clinic.clients.models import Client
from clinic.clients.request_selectors import open_requests, requests_of
from clinic.clients.selectors import client_card, clients_for, gone_client
from clinic.overview import selectors
from clinic.overview.first_steps import first_steps
from clinic.overview.notices import notices_for
from clinic.scheduling.selectors.day_sheet import day_of
from clinic.scheduling.selectors.of_client import client_appointments
from clinic.visits.selectors.notes import unsigned_notes

# The oldest come first; more than this many open notes are a matter for the clinic lead.
MOST_NOTES = 12


@permit("today.see")
def today(request: HttpRequest) -> HttpResponse:
    day = timezone.localdate()
    shown = {
        "section": "today",
        "day": day,
        "lines": selectors.worklist(request.user, request.GET.get("page", "1"), today=day),
        "visits": day_of(request.user, day) if request.user.is_clinical else [],
        "notes": unsigned_notes(request.user)[:MOST_NOTES],
        "requests": open_requests(request.user, today=day),
        "notices": notices_for(request.user),
        "first_steps": first_steps(request.user),
    }
    if request.user.is_clinical:  # the front desk's has no list
        audit.record(request.user, "today.seen")
    return render(request, "overview/today.html", shown)


@permit("clients.see")
def client(request: HttpRequest, client_id: UUID) -> HttpResponse:
    if (gone := gone_client(request.user, client_id)) is not None:
        return _where_it_went(request, gone)
    person = get_object_or_404(clients_for(request.user), pk=client_id)
    audit.record(request.user, "client.opened", client=person, subject=person)
    return render(
        request,
        "overview/client.html",
        {
            "section": "clients",
            "card": client_card(person),
            "emergency_until": open_until(person, request.user),
            "episodes": selectors.episode_cards(person, request.user),
            "story": selectors.clinical_story(person, request.user),
            "appointments": client_appointments(person, request.user, now=timezone.now()),
            "requests": requests_of(person, request.user, today=timezone.localdate()),
            "today": timezone.localdate(),
        },
    )


def _where_it_went(request: HttpRequest, gone: Client) -> HttpResponse:
    """An old link leads to the record that holds everything now, or to what is left of one."""
    if gone.merged_into_id is None:
        return render(request, "overview/client_erased.html", {"client": gone}, status=410)
    messages.info(request, f"Record {gone.record_number} was merged into this one.")
    return redirect("client", gone.merged_into_id)
