"""Import of a list: the file, the dry run, the confirmation."""

import csv
from collections.abc import Callable

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from clinic.accounts.permits import permit
from clinic.common.csv_answers import csv_answer
from clinic.common.errors import RuleBroken
from clinic.common.file_errors import FileError
from clinic.common.methods import look_or_send
from clinic.exchange.errors import DoubtsUnanswered, ListRefused
from clinic.exchange.forms import ConfirmForm, ListForm, sealed, unsealed
from clinic.exchange.layouts import LISTS, ListKind
from clinic.exchange.reports import ListReport
from clinic.exchange.selectors.girths_in import girths_report
from clinic.exchange.selectors.people_in import clients_report, referrers_report
from clinic.exchange.sentences import sentence
from clinic.exchange.services import importing
from measurements.selectors.protocols import protocols_in_use

# How much of a long report a page shows; the counts above it are of the whole.
MOST_SHOWN = 200

REPORTS: dict[ListKind, Callable[[bytes], ListReport]] = {
    ListKind.REFERRERS: referrers_report,
    ListKind.CLIENTS: clients_report,
    ListKind.GIRTHS: girths_report,
}
IMPORTS: dict[ListKind, Callable[..., ListReport]] = {
    ListKind.REFERRERS: importing.import_referrers,
    ListKind.CLIENTS: importing.import_clients,
    ListKind.GIRTHS: importing.import_girths,
}
NOUNS = {
    ListKind.REFERRERS: ("referrer", "referrers"),
    ListKind.CLIENTS: ("client", "clients"),
    ListKind.GIRTHS: ("session", "sessions"),
}


@permit("exchange.import")
@look_or_send
def import_list(request: HttpRequest, kind: str) -> HttpResponse:
    chosen = _kind(kind)
    if "example" in request.GET:
        return _example(chosen)
    if "checked" in request.POST:
        return _confirm(request, chosen)
    form = ListForm(request.POST, request.FILES) if request.method == "POST" else ListForm()
    if form.is_valid():
        raw = form.cleaned_data["file"]
        with form.catching(FileError):
            report = REPORTS[chosen](raw)
            checked = sealed(raw, chosen, request.user) if report.is_ready else ""
            return _page(request, chosen, report=report, checked=checked)
    return _page(request, chosen, form=form)


def _kind(kind: str) -> ListKind:
    try:
        return ListKind(kind)
    except ValueError as error:
        raise Http404 from error


def _confirm(request: HttpRequest, kind: ListKind) -> HttpResponse:
    """Save the very bytes that were checked, or say why not."""
    form, checked = ConfirmForm(request.POST), request.POST["checked"]
    seen = form.seen if form.is_valid() else ""
    try:
        raw = unsealed(checked, kind, request.user)
        report = IMPORTS[kind](raw=raw, seen=seen, by=request.user)
    except ListRefused as refused:
        return _refused(request, kind, refused, checked)
    except RuleBroken as error:
        messages.error(request, sentence(error))
        return redirect("exchange-import", kind.value)
    count = len(report.incoming)
    messages.success(request, f"Imported {count:,} {NOUNS[kind][count != 1]}.")
    return redirect("exchange")


def _refused(
    request: HttpRequest, kind: ListKind, refused: ListRefused, checked: str
) -> HttpResponse:
    """The report again; of doubts without an answer the box says so too."""
    messages.error(request, sentence(refused))
    again = checked if refused.report.is_ready else ""
    is_unanswered = isinstance(refused, DoubtsUnanswered)
    page = _page(request, kind, report=refused.report, checked=again, is_unanswered=is_unanswered)
    page.status_code = 422
    return page


def _page(
    request: HttpRequest,
    kind: ListKind,
    *,
    form: ListForm | None = None,
    report: ListReport | None = None,
    **confirming: object,
) -> HttpResponse:
    """`confirming`: the `checked` file as it is sealed, whether its doubts are still unanswered."""
    shown = {
        "list": LISTS[kind],
        "form": form or ListForm(),
        "report": report,
        "protocols": protocols_in_use() if kind is ListKind.GIRTHS else (),
        "section": "exchange",
    }
    is_refused = bool(form and form.errors) or bool(report and report.problems)
    return render(
        request,
        "exchange/import.html",
        shown | confirming | (_shown(kind, report) if report else {}),
        status=422 if is_refused else 200,
    )


def _shown(kind: ListKind, report: ListReport) -> dict[str, object]:
    """The report in words, as much of it as a page can show."""
    problems = report.problems[:MOST_SHOWN]
    count = len(report.incoming)
    return {
        "problems": [(problem, sentence(problem.error)) for problem in problems],
        "doubts": report.doubts[:MOST_SHOWN],
        "remarks": report.remarks[:MOST_SHOWN],
        "incoming": report.incoming[:MOST_SHOWN],
        "most_shown": MOST_SHOWN,
        "noun": NOUNS[kind][count != 1],
    }


def _example(kind: ListKind) -> HttpResponse:
    """A small file to begin from: the columns, and one invented line."""
    response = csv_answer(f"{kind.value}-example.csv")
    columns = LISTS[kind].columns
    values = {column.name: column.example for column in columns}
    if "protocol" in values:
        first = protocols_in_use().first()
        values |= {"protocol": first.name, "limb": first.limb} if first else {}
    rows = csv.writer(response)
    rows.writerow(values)
    rows.writerow(values.values())
    return response
