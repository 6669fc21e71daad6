"""Import of an appointment list: the file, the dry run, the confirmation."""

import csv
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from clinic.accounts.permits import permit
from clinic.clients.selectors import therapists
from clinic.common.csv_answers import csv_answer
from clinic.common.errors import RuleBroken
from clinic.common.file_errors import FileError
from clinic.common.methods import look_or_send
from clinic.scheduling.desk_errors import ListRefused
from clinic.scheduling.desk_sentences import sentence
from clinic.scheduling.forms.imports import ListForm, OtherwiseForm, sealed, unsealed
from clinic.scheduling.listed import COLUMNS
from clinic.scheduling.selectors.imports import ListReport, list_report
from clinic.scheduling.selectors.staff_time import kinds_to_choose
from clinic.scheduling.services.imports import import_appointments

# How much of a long report a page shows; the counts above it are of the whole.
MOST_SHOWN = 200


@permit("schedule.book")
@look_or_send
def import_list(request: HttpRequest) -> HttpResponse:
    if "example" in request.GET:
        return _example()
    if "checked" in request.POST:
        return _confirm(request)
    sent = (request.POST, request.FILES) if request.method == "POST" else ()
    form = ListForm(*sent, **_choices())
    if form.is_valid():
        raw = form.cleaned_data["file"]
        with form.catching(FileError):
            report = list_report(raw, form.otherwise())
            checked = sealed(raw, request.user) if report.is_ready else ""
            return _page(request, form, report=report, checked=checked)
    return _page(request, form)


def _confirm(request: HttpRequest) -> HttpResponse:
    """Save the very bytes that were checked, or say why not."""
    chosen = OtherwiseForm(request.POST, **_choices())
    if not chosen.is_valid():
        return HttpResponse(status=400)
    try:
        raw = unsealed(request.POST["checked"], request.user)
        report = import_appointments(raw=raw, otherwise=chosen.otherwise(), by=request.user)
    except ListRefused as refused:
        messages.error(request, sentence(refused))
        form = ListForm(initial=request.POST.dict(), **_choices())
        return _page(request, form, report=refused.report)
    except RuleBroken as error:
        messages.error(request, sentence(error))
        return redirect("appointments-import")
    messages.success(request, f"Imported {len(report.rows)} appointments.")
    return redirect("calendar")


def _choices() -> dict[str, Any]:
    return {"therapists": therapists(), "kinds": kinds_to_choose()}


def _page(
    request: HttpRequest, form: ListForm, *, report: ListReport | None = None, checked: str = ""
) -> HttpResponse:
    problems = report.problems[:MOST_SHOWN] if report else ()
    shown = {
        "form": form,
        "columns": COLUMNS,
        "report": report,
        "problems": [(one, sentence(one.error)) for one in problems],
        "rows": report.rows[:MOST_SHOWN] if report else (),
        "checked": checked,
        "most_shown": MOST_SHOWN,
        "section": "calendar",
    }
    is_refused = bool(form.errors) or bool(report and report.problems)
    return render(request, "scheduling/import.html", shown, status=422 if is_refused else 200)


def _example() -> HttpResponse:
    """A small file to begin from."""
    response = csv_answer("appointments-example.csv")
    rows = csv.writer(response)
    rows.writerow([column.name for column in COLUMNS])
    rows.writerow([column.example for column in COLUMNS])
    return response
