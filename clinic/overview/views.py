"""Today and the client page."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from clinic.accounts.permits import permit
from clinic.audit import services as audit
from clinic.clients.emergency_services import emergencies_to_review, open_until
from clinic.clients.selectors import client_card, clients_for
from clinic.overview import selectors
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
        "emergencies": emergencies_to_review(request.user),
        "notes": unsigned_notes(request.user)[:MOST_NOTES],
    }
    return render(request, "overview/today.html", shown)


@permit("clients.see")
def client(request: HttpRequest, client_id: UUID) -> HttpResponse:
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
            "today": timezone.localdate(),
        },
    )


@permit("audit.see")
def record_history(request: HttpRequest, client_id: UUID) -> HttpResponse:
    person = get_object_or_404(clients_for(request.user), pk=client_id)
    return render(
        request,
        "overview/record_history.html",
        {
            "section": "clients",
            "card": client_card(person),
            "page": selectors.history_page(person, request.GET.get("page", "1")),
        },
    )
