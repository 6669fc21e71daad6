"""Taking data out: everybody's for the lead, one client's for clinical roles."""

from collections.abc import Iterable
from uuid import UUID

from django.http import Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import permit
from clinic.clients.selectors import clients_for
from clinic.common.csv_answers import CONTENT_TYPE
from clinic.common.methods import look_or_send
from clinic.exchange import record
from clinic.exchange.layouts import LISTS
from clinic.exchange.services.taking import note_all_taken, note_taken
from clinic.exchange.words import Taken
from measurements.csv_rows import COLUMNS

FHIR_JSON = "application/fhir+json; charset=utf-8"
FHIR_LINES = "application/fhir+ndjson; charset=utf-8"


@permit("exchange.all")
@require_safe
def exchange(request: HttpRequest) -> HttpResponse:
    shown = {"lists": LISTS.values(), "columns": COLUMNS, "section": "exchange"}
    return render(request, "exchange/exchange.html", shown)


@permit("exchange.all")
@require_POST
def take_all_out(request: HttpRequest, what: str) -> StreamingHttpResponse:
    taken = _taken(what)
    note_all_taken(what=taken, by=request.user)
    if taken is Taken.RECORD:
        return _file(record.every_bundle(), FHIR_LINES, "records.ndjson")
    return _file(record.every_girth_csv(), CONTENT_TYPE, "girths.csv")


@permit("exchange.client")
@look_or_send
def take_client_out(request: HttpRequest, client_id: UUID) -> HttpResponse | StreamingHttpResponse:
    client = get_object_or_404(clients_for(request.user), pk=client_id)
    if request.method != "POST":
        shown = {"client": client, "columns": COLUMNS, "section": "clients"}
        return render(request, "exchange/client.html", shown)
    taken = _taken(request.POST.get("what", ""))
    note_taken(client=client, what=taken, by=request.user)
    if taken is Taken.RECORD:
        return _file([record.client_bundle(client)], FHIR_JSON, "record.json")
    return _file(record.girths_csv(client), CONTENT_TYPE, "girths.csv")


def _taken(what: str) -> Taken:
    try:
        return Taken(what)
    except ValueError as error:
        raise Http404 from error


def _file(parts: Iterable[bytes | str], content_type: str, name: str) -> StreamingHttpResponse:
    """A download that no cache keeps, named by its day and by nobody."""
    kind, _, suffix = name.partition(".")
    named = f'attachment; filename="{kind}-{timezone.localdate():%Y-%m-%d}.{suffix}"'
    headers = {"Content-Disposition": named, "Cache-Control": "no-store"}
    return StreamingHttpResponse(parts, content_type=content_type, headers=headers)
