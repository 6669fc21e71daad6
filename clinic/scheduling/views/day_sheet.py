"""The day sheet: today at the desk."""

from datetime import timedelta
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import permit
from clinic.common.errors import RuleBroken
from clinic.scheduling.desk_sentences import sentence
from clinic.scheduling.forms.desk import SheetForm
from clinic.scheduling.ranges import wall
from clinic.scheduling.selectors.cards import appointments_for
from clinic.scheduling.selectors.day_sheet import day_sheet, earlier_open_ends
from clinic.scheduling.services import booking
from clinic.scheduling.states import NEEDS_REASON, Status

SECTION = {"section": "day-sheet"}


@permit("schedule.see")
@require_safe
def sheet(request: HttpRequest) -> HttpResponse:
    now, today = timezone.now(), timezone.localdate()
    asked = SheetForm(request.GET).sheet(today=today)
    found = day_sheet(asked, request.user, now=now)
    is_today = found.on == today
    shown = {
        "sheet": found,
        "asked": asked,
        "today": today,
        "earlier": earlier_open_ends(request.user, on=today, now=now) if is_today else [],
        "now": wall(now),
        "earlier_on": found.on - timedelta(days=1),
        "later_on": found.on + timedelta(days=1),
    }
    return render(request, "scheduling/day_sheet.html", shown | SECTION)


@permit("schedule.book")
@require_POST
def change_status(request: HttpRequest, appointment_id: UUID) -> HttpResponse:
    found = get_object_or_404(appointments_for(request.user), pk=appointment_id)
    wanted = request.POST.get("status", "")
    if wanted not in set(Status) - NEEDS_REASON:
        return HttpResponse(status=400)
    try:
        booking.change_status(appointment=found, status=Status(wanted), by=request.user)
    except RuleBroken as error:
        messages.error(request, sentence(error))
    return redirect(_back(request, found.pk, wall(found.period.lower).date().isoformat()))


def _back(request: HttpRequest, appointment_id: UUID, day: str) -> str:
    """The sheet that was left, at the same line: the day of the sheet and whose it was."""
    asked = SheetForm(request.POST)
    asked.is_valid()
    on = asked.cleaned_data.get("on") or day
    therapist = asked.cleaned_data.get("therapist")
    whose = f"&therapist={therapist}" if therapist else ""
    return f"{reverse('day-sheet')}?on={on}{whose}#a-{appointment_id}"
