"""The page that books a series: pattern, preview of every date, then all or nothing."""

from collections.abc import Sequence
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from clinic.accounts.permits import permit
from clinic.clients.models import Client
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.scheduling.forms.booking import asked_slot
from clinic.scheduling.forms.series import DecidedDate, Line, SeriesForm
from clinic.scheduling.models import Series
from clinic.scheduling.ranges import zone
from clinic.scheduling.recurrence import moments
from clinic.scheduling.selectors.near import series_plan
from clinic.scheduling.selectors.staff_time import every_room, kinds_to_choose
from clinic.scheduling.services.booking import Booking, Slot
from clinic.scheduling.services.series import ChosenDate, book_series
from clinic.scheduling.spans import lasting
from clinic.scheduling.views.appointments import (
    SECTION,
    client_chosen,
    clients_asked_for,
    places,
    slot_meant,
    warnings_of,
)

FIVE_DAYS_A_WEEK = {"weeks_1": 3, "weekdays_1": [0, 1, 2, 3, 4]}


@permit("schedule.book")
@look_or_send
def book(request: HttpRequest, client_id: UUID | None = None) -> HttpResponse:
    chosen = client_chosen(request, client_id)
    form = SeriesForm(
        request.POST or None,
        initial=FIVE_DAYS_A_WEEK | asked_slot(request.GET) | {"client": chosen and chosen.pk},
        kinds=kinds_to_choose(),
        chosen=chosen,
        **places(),
    )
    lines: list[Line] = []
    if form.is_valid() and chosen:
        with form.catching(RuleBroken):
            lines = _lines(form, chosen)
            if series := _saved(request, form, chosen, lines):
                messages.success(request, f"Booked: {series.appointments.count()} dates.")
                return redirect("appointment", series.appointments.earliest("period").pk)
    found = clients_asked_for(request, chosen)
    warnings = warnings_of(form, chosen)
    shown = {
        "form": form,
        "chosen": chosen,
        "found": found,
        "lines": lines,
        "warnings": warnings,
    }
    return render(request, "scheduling/series.html", shown | SECTION)


def _lines(form: SeriesForm, client: Client) -> list[Line]:
    first = slot_meant(form)
    spans = [lasting(at, first.minutes) for at in moments(form.rule(), zone())]
    return form.lines(series_plan(first.place, spans, client))


def _saved(
    request: HttpRequest, form: SeriesForm, client: Client, lines: Sequence[Line]
) -> Series | None:
    """The booked series, or None while the preview is still to be decided."""
    decided = form.decided(lines) if request.POST.get("step") == "save" else None
    if decided is None:
        return None
    answers = form.cleaned_data
    return book_series(
        booking=Booking(client, answers["kind"], answers["desk_note"], answers["authorisation"]),
        rule=form.rule(),
        dates=_chosen_dates(form, decided),
        by=request.user,
    )


def _chosen_dates(form: SeriesForm, decided: Sequence[DecidedDate]) -> list[ChosenDate]:
    rooms = {room.pk: room for room in every_room()}
    first = slot_meant(form)
    return [
        ChosenDate(
            Slot(first.therapist, rooms.get(one.room_id or 0), one.at, first.minutes),
            one.is_deliberate,
        )
        for one in decided
        if one.at
    ]
