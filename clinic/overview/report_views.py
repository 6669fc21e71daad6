"""The practice report on screen and as a file: for the clinic lead."""

from datetime import date

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from clinic.accounts.permits import permit
from clinic.audit import services as audit
from clinic.common.csv_answers import csv_answer
from clinic.overview.practice_report import PracticeReport
from clinic.overview.report_charts import section_figure, shares_figure
from clinic.overview.report_csv import write_report
from clinic.overview.report_forms import PeriodForm
from clinic.overview.report_period import MONTHS, Period, PeriodKind, last_whole, period_of
from clinic.overview.report_selectors import report_on
from clinic.overview.small_groups import BOUNDS_FROM, SMALLEST_SHOWN


@permit("report.see")
@require_safe
def practice_report(request: HttpRequest) -> HttpResponse:
    form, today = _asked(request), timezone.localdate()
    shown = {"section": "report", "form": form, "choices": _choices(today), "today": today}
    if not form.is_valid():
        return render(request, "overview/report.html", shown, status=422)
    report = report_on(form.period(), now=timezone.now())
    audit.record(request.user, "report.seen")
    shown |= {
        "report": report,
        "sections": [(each, section_figure(each, report)) for each in report.sections],
        "shares": shares_figure(report),
        "smallest": SMALLEST_SHOWN,
        "bounds_from": BOUNDS_FROM,
    }
    return render(request, "overview/report.html", shown)


@permit("report.see")
@require_safe
def practice_report_file(request: HttpRequest) -> HttpResponse:
    form = _asked(request)
    if not form.is_valid():
        shown = {"section": "report", "form": form, "choices": _choices(timezone.localdate())}
        return render(request, "overview/report.html", shown, status=422)
    report = report_on(form.period(), now=timezone.now())
    audit.record(request.user, "report.downloaded")
    return _file(report)


def _asked(request: HttpRequest) -> PeriodForm:
    """The days asked for; without any, the last quarter that is over."""
    if {"from_on", "to_on"} & request.GET.keys():
        return PeriodForm(request.GET)
    usual = last_whole(PeriodKind.QUARTER, timezone.localdate())
    return PeriodForm({"from_on": usual.from_on.isoformat(), "to_on": usual.to_on.isoformat()})


def _choices(today: date) -> list[tuple[str, Period]]:
    """(label, period): the last whole and the running month, quarter and year."""
    return [
        (f"{word} {kind.label}", period)
        for kind in MONTHS
        for word, period in (("Last", last_whole(kind, today)), ("This", period_of(kind, today)))
    ]


def _file(report: PracticeReport) -> HttpResponse:
    name = f"practice-report-{report.period.from_on}-to-{report.period.to_on}.csv"
    response = csv_answer(name)
    write_report(report, response)
    return response
