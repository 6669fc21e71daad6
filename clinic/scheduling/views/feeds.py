"""Calendar feeds and files."""

from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import open_to_all, permit
from clinic.common.methods import look_or_send
from clinic.scheduling.calendar_files import CONTENT_TYPE
from clinic.scheduling.forms.desk import FeedForm
from clinic.scheduling.selectors.cards import appointments_for
from clinic.scheduling.selectors.feeds import (
    appointment_file,
    feed_file,
    feeds_for,
    live_feed,
    rooms_to_feed,
    therapists_to_feed,
)
from clinic.scheduling.services import feeds as services
from clinic.scheduling.services.feeds import FeedOf


@permit("schedule.book")
@look_or_send
def feeds(request: HttpRequest) -> HttpResponse:
    form = FeedForm(
        request.POST or None, therapists=therapists_to_feed(request.user), rooms=rooms_to_feed()
    )
    address = ""
    if form.is_valid():
        _, token = services.make_feed(of=FeedOf(**form.chosen()), by=request.user)
        address = request.build_absolute_uri(reverse("calendar-feed", args=[token]))
    shown = {
        "form": form,
        "address": address,
        "feeds": feeds_for(request.user),
        "section": "calendar",
    }
    return render(request, "scheduling/feeds.html", shown)


@permit("schedule.book")
@require_POST
def revoke(request: HttpRequest, feed_id: int) -> HttpResponse:
    feed = get_object_or_404(feeds_for(request.user), pk=feed_id)
    services.revoke_feed(feed=feed, by=request.user)
    messages.success(request, "The address is closed. Calendars that used it get nothing more.")
    return redirect("feeds")


@open_to_all
@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """The address itself is the key: a calendar program cannot sign in."""
    found = live_feed(token)
    if found is None:
        raise Http404
    services.note_feed_read(feed=found)
    content = feed_file(found, now=timezone.now(), host=_host(request))
    return HttpResponse(content, content_type=CONTENT_TYPE, headers={"X-Robots-Tag": "noindex"})


@permit("schedule.see")
@require_safe
def one_appointment(request: HttpRequest, appointment_id: UUID) -> HttpResponse:
    found = get_object_or_404(appointments_for(request.user), pk=appointment_id)
    services.note_file_given(appointment=found, by=request.user)
    named = {"Content-Disposition": 'attachment; filename="appointment.ics"'}
    content = appointment_file(found, host=_host(request))
    return HttpResponse(content, content_type=CONTENT_TYPE, headers=named)


def _host(request: HttpRequest) -> str:
    return request.get_host().partition(":")[0]
