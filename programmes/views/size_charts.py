"""The clinic's size charts: the list, one chart, the import of a file."""

import csv
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import permit
from clinic.common.csv_answers import csv_answer
from clinic.common.errors import RuleBroken
from clinic.common.file_errors import FileError
from clinic.common.methods import look_or_send
from programmes.errors import ChartNameTaken, ChartRefused
from programmes.forms.size_charts import ChartFactsForm, ChartUploadForm, sealed, unsealed
from programmes.selectors.size_charts import (
    chart_of,
    charts_with_spans,
    is_name_taken,
    levels_of,
    size_charts,
)
from programmes.sentences import sentence
from programmes.services.size_charts import import_size_chart
from programmes.services.size_charts import retire_size_chart as put_away
from programmes.size_rows import COLUMNS, ChartRead, chart_from, read_chart

SECTION = {"section": "size-charts"}
# How much of a long report a page shows; the count above it is of the whole.
MOST_SHOWN = 200


@permit("garments.see")
@require_safe
def charts(request: HttpRequest) -> HttpResponse:
    return render(request, "programmes/size_charts.html", {"charts": size_charts()} | SECTION)


@permit("garments.see")
@require_safe
def chart(request: HttpRequest, chart_id: UUID) -> HttpResponse:
    found = get_object_or_404(charts_with_spans(), pk=chart_id)
    context = {"chart": found, "table": chart_of(found), "levels": levels_of(found).items()}
    return render(request, "programmes/size_charts_one.html", context | SECTION)


@permit("size_charts.edit")
@require_POST
def retire(request: HttpRequest, chart_id: UUID) -> HttpResponse:
    found = get_object_or_404(charts_with_spans(), pk=chart_id)
    put_away(chart=found, by=request.user)
    messages.success(request, f"{found} is no longer offered.")
    return redirect("size-charts")


@permit("size_charts.edit")
@look_or_send
def import_chart(request: HttpRequest) -> HttpResponse:
    if "example" in request.GET:
        return _example()
    if "checked" in request.POST:
        return _confirm(request)
    sent = (request.POST, request.FILES) if request.method == "POST" else ()
    form = ChartUploadForm(*sent)
    if form.is_valid():
        raw = form.cleaned_data["file"]
        with form.catching(FileError, ChartNameTaken):
            if is_name_taken(form.cleaned_data["name"]):
                raise ChartNameTaken
            report = read_chart(raw)
            checked = sealed(raw, request.user) if report.is_ready else ""
            return _page(request, form, report=report, checked=checked)
    return _page(request, form)


def _confirm(request: HttpRequest) -> HttpResponse:
    """Save the very bytes that were checked, or say why not."""
    facts = ChartFactsForm(request.POST)
    form = ChartUploadForm(initial=request.POST.dict())
    if not facts.is_valid():
        return HttpResponse(status=400)
    try:
        raw = unsealed(request.POST["checked"], request.user)
        kept = import_size_chart(chart=facts.chart(), raw=raw, by=request.user)
    except ChartRefused as refused:
        messages.error(request, sentence(refused))
        return _page(request, form, report=refused.report)
    except RuleBroken as error:
        messages.error(request, sentence(error))
        return _page(request, form)
    messages.success(request, f"{kept} is in use.")
    return redirect("size-chart", kept.pk)


def _page(
    request: HttpRequest,
    form: ChartUploadForm,
    *,
    report: ChartRead | None = None,
    checked: str = "",
) -> HttpResponse:
    problems = report.problems[:MOST_SHOWN] if report else ()
    context = {
        "form": form,
        "columns": COLUMNS,
        "report": report,
        "problems": [(each, sentence(each.error)) for each in problems],
        "most_shown": MOST_SHOWN,
        "checked": checked,
        "table": chart_from("", report.rows) if report and report.is_ready else None,
    }
    is_refused = bool(form.errors) or bool(report and report.problems)
    status = 422 if is_refused else 200
    return render(request, "programmes/size_charts_import.html", context | SECTION, status=status)


def _example() -> HttpResponse:
    """A small file to begin from: invented numbers, two sizes and two places."""
    response = csv_answer("size-chart-example.csv")
    rows = csv.writer(response)
    rows.writerow([column.name for column in COLUMNS])
    for size, low in (("S", 14), ("M", 16)):
        rows.writerow([size, "wrist", 0, low, low + 2])
        rows.writerow([size, "below the elbow", 20, low + 6, low + 10])
    return response
