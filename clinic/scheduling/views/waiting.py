"""The wait list, and the times that came free for it."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import permit
from clinic.clients.selectors import clients_for, therapists
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.scheduling.desk_errors import NothingFits
from clinic.scheduling.desk_sentences import sentence
from clinic.scheduling.errors import NeedsOverruling
from clinic.scheduling.forms.desk import EntryForm, LeaveForm
from clinic.scheduling.models import Appointment, WaitListEntry
from clinic.scheduling.selectors.staff_time import kinds_to_choose
from clinic.scheduling.selectors.waiting import (
    entries_for,
    free_time,
    free_times,
    freed_for,
    offers_of,
    wait_list,
)
from clinic.scheduling.sentences import told
from clinic.scheduling.services import waiting as services
from clinic.scheduling.services.booking import Slot
from clinic.scheduling.services.waiting import Offered
from clinic.scheduling.words import OfferAnswer

SECTION = {"section": "day-sheet"}


@permit("schedule.see")
@require_safe
def waiting(request: HttpRequest) -> HttpResponse:
    shown = {
        "entries": wait_list(request.user),
        "free_times": free_times(request.user, now=timezone.now()),
    }
    return render(request, "scheduling/wait_list.html", shown | SECTION)


@permit("schedule.book")
@look_or_send
def join(request: HttpRequest, client_id: UUID) -> HttpResponse:
    client = get_object_or_404(clients_for(request.user), pk=client_id)
    form = EntryForm(
        request.POST or None,
        therapists=therapists(),
        kinds=kinds_to_choose(),
        back=reverse("client", args=[client.pk]),
    )
    if form.is_valid():
        with form.catching(RuleBroken):
            services.join_wait_list(client=client, said=form.said(), by=request.user)
            messages.success(request, f"On the wait list: {client}.")
            return redirect("wait-list")
    shown = {"form": form, "client": client}
    return render(request, "scheduling/wait_list_join.html", shown | SECTION)


@permit("schedule.book")
@look_or_send
def leave(request: HttpRequest, entry_id: int) -> HttpResponse:
    entry = get_object_or_404(entries_for(request.user), pk=entry_id)
    form = LeaveForm(request.POST or None, back=reverse("wait-list"))
    if form.is_valid():
        with form.catching(RuleBroken):
            services.leave_wait_list(entry=entry, by=request.user, **form.cleaned_data)
            messages.success(request, f"Off the wait list: {entry.client}.")
            return redirect("wait-list")
    return render(
        request, "scheduling/wait_list_leave.html", {"form": form, "entry": entry} | SECTION
    )


@permit("schedule.see")
@require_safe
def opening(request: HttpRequest, appointment_id: UUID) -> HttpResponse:
    freed = get_object_or_404(freed_for(request.user), pk=appointment_id)
    shown = {
        "free": free_time(freed, request.user),
        "offers": offers_of(freed),
        "is_past": freed.period.lower <= timezone.now(),
    }
    return render(request, "scheduling/wait_list_opening.html", shown | SECTION)


@permit("schedule.book")
@require_POST
def answer(request: HttpRequest, appointment_id: UUID, entry_id: int) -> HttpResponse:
    """Book a free time for somebody who waits, or keep that they declined or were not reached."""
    freed = get_object_or_404(freed_for(request.user), pk=appointment_id)
    entry = get_object_or_404(entries_for(request.user), pk=entry_id)
    said = request.POST.get("answer", "")
    if said not in set(OfferAnswer) - {OfferAnswer.OPEN}:
        return HttpResponse(status=400)
    try:
        return _answered(request, freed, entry, OfferAnswer(said))
    except NeedsOverruling as error:
        messages.error(request, f"Not booked: {told(error.conflicts)}. Book it by hand if meant.")
    except RuleBroken as error:
        messages.error(request, sentence(error))
    return redirect("wait-list-opening", freed.pk)


def _answered(
    request: HttpRequest, freed: Appointment, entry: WaitListEntry, said: OfferAnswer
) -> HttpResponse:
    offered = Offered(entry, _slot(freed, entry, request.user))
    if said is OfferAnswer.TAKEN:
        made = services.book_from_wait_list(offered=offered, by=request.user)
        messages.success(request, f"Booked from the wait list: {entry.client}.")
        return redirect("appointment", made.pk)
    services.log_offer(offered=offered, answer=said, by=request.user)
    messages.success(request, f"Kept: {entry.client}, {said.label}.")
    return redirect("wait-list-opening", freed.pk)


def _slot(freed: Appointment, entry: WaitListEntry, user: Any) -> Slot:
    """The part of the free time that fits the entry. Raises NothingFits."""
    found = free_time(freed, user)
    starts: list[datetime] = [
        one.match.span.starts_at for one in found.fitting if one.entry.id == entry.pk
    ]
    if not starts:
        raise NothingFits
    return Slot(freed.therapist, freed.room, starts[0], entry.minutes)
