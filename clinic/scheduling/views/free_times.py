"""The page that finds the next free times."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from clinic.accounts.permits import permit
from clinic.clients.selectors import therapists
from clinic.scheduling.forms.free_times import FreeTimesForm
from clinic.scheduling.ranges import zone
from clinic.scheduling.selectors.near import OfferLine, free_time_lines
from clinic.scheduling.selectors.staff_time import kinds_to_choose, rooms_to_choose


@permit("schedule.see")
@require_safe
def free_times(request: HttpRequest) -> HttpResponse:
    form = FreeTimesForm(
        request.GET if "kind" in request.GET else None,
        therapists=therapists(),
        rooms=rooms_to_choose(),
        kinds=kinds_to_choose(),
    )
    lines = _lines(form) if form.is_valid() else None
    shown = {"form": form, "lines": lines, "section": "calendar"}
    return render(request, "scheduling/free_times.html", shown)


def _lines(form: FreeTimesForm) -> list[OfferLine]:
    people = {person.pk: person.display_name for person in therapists()}
    wish = form.wish(now=timezone.now(), zone=zone(), therapist_ids=list(people))
    return free_time_lines(wish)
