"""Pages that book an appointment, show it, move it and change its state."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import permit
from clinic.clients.forms.clients import SearchForm
from clinic.clients.models import Client
from clinic.clients.selectors import clients_for, clients_found, therapists
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.scheduling.forms.booking import (
    BookingForm,
    CancelForm,
    MoveForm,
    NoteForm,
    SlotForm,
    asked_slot,
    with_instead,
)
from clinic.scheduling.models import Appointment
from clinic.scheduling.ranges import span_of, wall, zone
from clinic.scheduling.selectors.authorisations import CoverWarning, cover_warnings
from clinic.scheduling.selectors.cards import (
    appointments_for,
    booking_card,
    series_cards,
    status_history,
)
from clinic.scheduling.selectors.near import OfferLine, near_times, usual_room_id
from clinic.scheduling.selectors.staff_time import kinds_to_choose, rooms_to_choose
from clinic.scheduling.sentences import sentence
from clinic.scheduling.services import booking as services
from clinic.scheduling.services import series as series_services
from clinic.scheduling.services.booking import Booking, Slot
from clinic.scheduling.spans import moment
from clinic.scheduling.states import NEEDS_REASON, CancelReason, Status
from clinic.scheduling.words import Scope

SECTION = {"section": "calendar"}


@permit("schedule.book")
@look_or_send
def book(request: HttpRequest, client_id: UUID | None = None) -> HttpResponse:
    chosen = client_chosen(request, client_id)
    form = BookingForm(
        with_instead(request.POST) or None,
        initial=_asked(request) | {"client": chosen.pk if chosen else None},
        kinds=kinds_to_choose(),
        chosen=chosen,
        **places(),
    )
    near = None
    if form.is_valid() and chosen:
        slot = slot_meant(form)
        with form.catching(RuleBroken):
            made = _book(request, form, chosen)
            messages.success(request, f"Booked: {_said(made)}.")
            return redirect(_calendar_at(made))
        near = _near(slot, chosen)
    shown = {
        "form": form,
        "chosen": chosen,
        "near": near,
        "found": clients_asked_for(request, chosen),
        "warnings": warnings_of(form, chosen),
    }
    return render(request, "scheduling/book.html", shown | SECTION)


@permit("schedule.book")
@require_POST
def cover(request: HttpRequest) -> HttpResponse:
    """What the desk should know of authorised visits while it chooses the day."""
    chosen = client_chosen(request, None)
    form = BookingForm(request.POST, kinds=kinds_to_choose(), chosen=chosen, **places())
    shown = {"warnings": warnings_of(form, chosen)}
    return render(request, "scheduling/_cover_warnings.html", shown)


def warnings_of(form: SlotForm, client: Client | None) -> list[CoverWarning]:
    """What runs out, judged on the day in the form, or today while it holds none."""
    if client is None:
        return []
    today = timezone.localdate()
    return cover_warnings(client, on=form.day_shown() or today, today=today)


@permit("schedule.book")
@require_POST
def find_clients(request: HttpRequest) -> HttpResponse:
    shown = {"found": clients_asked_for(request, None), "words": request.POST.get("words", "")}
    return render(request, "scheduling/_clients_found.html", shown)


@permit("schedule.see")
@require_safe
def appointment(request: HttpRequest, appointment_id: UUID) -> HttpResponse:
    found = _appointment(request, appointment_id)
    services.note_seen(appointment=found, by=request.user)
    card = booking_card(found)
    shown = {
        "card": card,
        "history": status_history(found),
        "series": series_cards(found, request.user),
        "note_form": NoteForm(initial={"desk_note": card.desk_note}),
    }
    return render(request, "scheduling/appointment.html", shown | SECTION)


@permit("schedule.book")
@look_or_send
def move(request: HttpRequest, appointment_id: UUID) -> HttpResponse:
    found = _appointment(request, appointment_id)
    form = MoveForm(
        with_instead(request.POST) or None,
        initial=_as_it_stands(found),
        in_series=found.series_id is not None,
        **places(found),
    )
    near = None
    if form.is_valid():
        slot = slot_meant(form)
        with form.catching(RuleBroken):
            moved = _move(request, form, found)
            messages.success(request, f"Moved: {_said(moved)}.")
            return redirect(_calendar_at(moved))
        near = _near(slot, found.client)
    shown = {"form": form, "card": booking_card(found), "near": near}
    return render(request, "scheduling/move.html", shown | SECTION)


@permit("schedule.book")
@require_POST
def change_status(request: HttpRequest, appointment_id: UUID) -> HttpResponse:
    found = _appointment(request, appointment_id)
    wanted = request.POST.get("status", "")
    if wanted not in set(Status) - NEEDS_REASON:
        return HttpResponse(status=400)
    try:
        services.change_status(appointment=found, status=Status(wanted), by=request.user)
    except RuleBroken as error:
        messages.error(request, sentence(error))
    return redirect("appointment", found.pk)


@permit("schedule.book")
@look_or_send
def cancel(request: HttpRequest, appointment_id: UUID) -> HttpResponse:
    found = _appointment(request, appointment_id)
    form = CancelForm(request.POST or None, in_series=found.series_id is not None)
    if form.is_valid():
        with form.catching(RuleBroken):
            messages.success(request, _cancelled(request, form, found))
            return redirect(_calendar_at(found))
    shown = {"form": form, "card": booking_card(found)}
    return render(request, "scheduling/cancel.html", shown | SECTION)


@permit("schedule.book")
@require_POST
def edit_note(request: HttpRequest, appointment_id: UUID) -> HttpResponse:
    found = _appointment(request, appointment_id)
    form = NoteForm(request.POST)
    if form.is_valid():
        services.edit_desk_note(appointment=found, by=request.user, **form.cleaned_data)
        messages.success(request, "Note kept.")
    else:
        messages.error(request, "The note is longer than 200 characters; it was not kept.")
    return redirect("appointment", found.pk)


def client_chosen(request: HttpRequest, client_id: UUID | None) -> Client | None:
    """The client that the address or the form names; one who may not be seen is a 404."""
    if client_id is not None and "client" not in request.POST:
        return get_object_or_404(clients_for(request.user), pk=client_id)
    try:
        named = UUID(request.POST.get("client", ""))
    except ValueError:
        return None
    return clients_for(request.user).filter(pk=named).first()


def _appointment(request: HttpRequest, appointment_id: UUID) -> Appointment:
    return get_object_or_404(appointments_for(request.user), pk=appointment_id)


def clients_asked_for(request: HttpRequest, chosen: Client | None) -> Any:
    """Clients that the typed words fit, unless one is chosen or nothing was typed."""
    search = SearchForm(request.POST).search()
    if chosen is not None or not search.words.strip():
        return None
    return clients_found(request.user, search)


def places(appointment: Appointment | None = None) -> dict[str, Any]:
    chosen_therapist = appointment.therapist_id if appointment else None
    return {
        "therapists": therapists(chosen_id=chosen_therapist),
        "rooms": rooms_to_choose(chosen_id=appointment.room_id if appointment else None),
        "zone": zone(),
    }


def _asked(request: HttpRequest) -> dict[str, Any]:
    """The slot that the address names, in the therapist's usual room unless it names one."""
    asked = asked_slot(request.GET)
    if "on" in asked and "room" not in asked and asked.get("therapist", "").isdecimal():
        at = moment(asked["on"], asked["at"], zone())
        asked["room"] = usual_room_id(int(asked["therapist"]), at)
    return asked


def slot_meant(form: SlotForm) -> Slot:
    return Slot(
        therapist=form.cleaned_data["therapist"],
        room=form.cleaned_data["room"],
        starts_at=form.starts_at(),
        minutes=form.minutes_meant(),
    )


def _book(request: HttpRequest, form: BookingForm, client: Client) -> Appointment:
    answers = form.cleaned_data
    return services.book(
        booking=Booking(client, answers["kind"], answers["desk_note"], answers["authorisation"]),
        slot=slot_meant(form),
        by=request.user,
        is_deliberate=answers["is_deliberate"],
    )


def _move(request: HttpRequest, form: MoveForm, found: Appointment) -> Appointment:
    how = {
        "appointment": found,
        "slot": slot_meant(form),
        "by": request.user,
        "is_deliberate": form.cleaned_data["is_deliberate"],
    }
    if form.scope_meant() is Scope.ONE:
        return services.move(version=form.cleaned_data["version"], **how)
    rows = series_services.move_series(scope=form.scope_meant(), **how)
    return next((row for row in rows if row.pk == found.pk), rows[0])


def _cancelled(request: HttpRequest, form: CancelForm, found: Appointment) -> str:
    answers, scope = form.cleaned_data, form.scope_meant()
    why = {"reason": CancelReason(answers["reason"]), "note": answers["note"], "by": request.user}
    if scope is Scope.ONE:
        one = services.cancel(appointment=found, **why)
        return f"{Status(one.status).label.capitalize()}: {_said(one)}."
    rows = series_services.cancel_series(appointment=found, scope=scope, **why)
    return f"{len(rows)} appointments of the series cancelled."


def _near(slot: Slot, client: Client) -> list[OfferLine]:
    """Free times near one that was refused."""
    return near_times(slot.place, slot.span, client)


def _as_it_stands(found: Appointment) -> dict[str, Any]:
    span = span_of(found.period)
    local = wall(span.starts_at)
    return {
        "therapist": found.therapist_id,
        "room": found.room_id,
        "on": local.date(),
        "at": local.time(),
        "minutes": span.minutes,
        "version": found.version,
    }


def _said(found: Appointment) -> str:
    local = wall(found.period.lower)
    return f"{found.client}, {local:%a} {local.day} {local:%b %Y}, {local:%H:%M}"


def _calendar_at(found: Appointment) -> str:
    on = wall(found.period.lower).date()
    day = "" if on == timezone.localdate() else f"?on={on}"
    return reverse("calendar") + day
