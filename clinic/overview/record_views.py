"""The access and change record: of one client, and searched by the clinic lead."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import permit
from clinic.accounts.selectors import staff_list
from clinic.audit import services as audit
from clinic.clients.selectors import client_card, records_for
from clinic.common.csv_answers import CONTENT_TYPE
from clinic.common.methods import look_or_send
from clinic.overview import record_page, record_search
from clinic.overview.record_forms import RecordForm

USUAL = {"many": record_search.Asked.many, "order": record_search.Order.LATEST.value}


@permit("audit.see")
@require_safe
def record_history(request: HttpRequest, client_id: UUID) -> HttpResponse:
    person = get_object_or_404(records_for(request.user), pk=client_id)
    shown = {
        "section": "clients",
        "card": client_card(person),
        "page": record_page.history_page(person, request.GET.get("page", "1")),
        "past_us": record_page.changes_past_us(person),
    }
    audit.record(request.user, "access.seen", client=person)
    return render(request, "overview/record_history.html", shown)


@permit("audit.see")
@look_or_send
def record_search_page(request: HttpRequest) -> HttpResponse:
    form = RecordForm(request.POST or USUAL, staff=staff_list())
    shown = {"section": "record", "form": form, "now": timezone.localtime()}
    if form.is_valid():
        audit.record(request.user, "access.searched")
        asked, number = form.asked(), form.cleaned_data["page"] or 1
        page = record_search.found(asked, user=request.user, number=number)
        shown |= {"page": page, "usual_from_on": asked.usual_from_on}
    return render(request, "overview/record.html", shown)


@permit("audit.see")
@require_POST
def record_file(request: HttpRequest) -> HttpResponse | StreamingHttpResponse:
    form = RecordForm(request.POST, staff=staff_list())
    if not form.is_valid():
        shown = {"section": "record", "form": form, "now": timezone.localtime()}
        return render(request, "overview/record.html", shown)
    audit.record(request.user, "access.taken_out")
    name = f"access-record-{timezone.localdate():%Y-%m-%d}.csv"
    return StreamingHttpResponse(
        record_search.csv_lines(form.asked(), user=request.user),
        content_type=CONTENT_TYPE,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )
