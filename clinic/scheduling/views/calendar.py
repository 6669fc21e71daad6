"""The calendar page."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.http import require_safe

from clinic.accounts.permits import permit
from clinic.scheduling.forms.asked import ViewForm
from clinic.scheduling.selectors.calendar import Reach, Rows, View, calendar

SECTION = {"section": "calendar"}
DRAG_FIELDS = ["on", "at", "minutes", "therapist", "room", "version", "scope"]


@permit("schedule.see")
@require_safe
def calendar_page(request: HttpRequest) -> HttpResponse:
    today = timezone.localdate()
    view = ViewForm(request.GET).view(today=today)
    shown = {
        "calendar": calendar(view, user=request.user, today=today),
        "view": view,
        "today": today,
        "reaches": list(Reach),
        "rows": list(Rows),
        "kept": kept_in_address(view),
        "now_hour": timezone.localtime().hour if view.first_on <= today <= view.last_on else None,
        "drag_fields": DRAG_FIELDS,
    }
    return render(request, "scheduling/calendar.html", shown | SECTION)


def kept_in_address(view: View) -> str:
    """What stays the same when another day is chosen."""
    asked = {"show": view.reach.value, "by": view.rows.value, "only": view.only_id}
    return urlencode({name: value for name, value in asked.items() if value is not None})
