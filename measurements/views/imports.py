"""Import of past sessions: the file, the dry run, the confirmation."""

import csv
from dataclasses import dataclass
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from clinic.accounts.permits import permit
from clinic.clients.models import Episode
from clinic.clients.selectors import episodes_for
from clinic.common.csv_answers import csv_answer
from clinic.common.errors import RuleBroken
from clinic.common.file_errors import FileError
from clinic.common.methods import look_or_send
from measurements.csv_rows import COLUMNS
from measurements.errors import ImportRefused
from measurements.forms.imports import UploadForm, sealed, unsealed
from measurements.models import Protocol
from measurements.selectors.imports import ImportReport, import_report
from measurements.selectors.protocols import protocols_in_use
from measurements.sentences import question_sentence, sentence
from measurements.services.imports import import_sessions

# How much of a long report a page shows; the counts above it are of the whole.
MOST_SHOWN = 300


@dataclass(frozen=True)
class ReportLine:
    """One line of the report, in words."""

    line: int
    column: str
    found: str
    says: str


@permit("girths.import")
@look_or_send
def import_girths(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    episode = get_object_or_404(episodes_for(request.user), pk=episode_id)
    if "example" in request.GET:
        return _example(list(protocols_in_use()))
    if "checked" in request.POST:
        return _confirm(request, episode)
    form = UploadForm(request.POST, request.FILES) if request.method == "POST" else UploadForm()
    if form.is_valid():
        raw = form.cleaned_data["file"]
        with form.catching(FileError):
            report = import_report(episode, raw)
            checked = sealed(raw, episode, request.user) if report.is_ready else ""
            return _page(request, episode, form=UploadForm(), report=report, checked=checked)
    return _page(request, episode, form=form)


def _confirm(request: HttpRequest, episode: Episode) -> HttpResponse:
    """Save the very bytes that were checked, or say why not."""
    try:
        raw = unsealed(request.POST["checked"], episode, request.user)
        report = import_sessions(episode=episode, raw=raw, by=request.user)
    except ImportRefused as refused:
        messages.error(request, sentence(refused))
        return _page(request, episode, form=UploadForm(), report=refused.report)
    except RuleBroken as error:
        messages.error(request, sentence(error))
        return redirect("girths-import", episode.pk)
    count = len(report.sessions)
    plural = "" if count == 1 else "s"
    messages.success(
        request, f"Imported {count:,} session{plural} with {report.girth_count:,} girths."
    )
    return redirect("girths-course", episode.pk)


def _page(
    request: HttpRequest,
    episode: Episode,
    *,
    form: UploadForm,
    report: ImportReport | None = None,
    checked: str = "",
) -> HttpResponse:
    shown = {
        "episode": episode,
        "form": form,
        "columns": COLUMNS,
        "protocols": protocols_in_use(),
        "report": report,
        "checked": checked,
        "section": "clients",
    }
    is_refused = bool(form.errors) or bool(report and report.problems)
    lines = _lines(report) if report else {}
    return render(
        request, "measurements/import.html", shown | lines, status=422 if is_refused else 200
    )


def _lines(report: ImportReport) -> dict[str, object]:
    """The report in words, as much of it as a page can show."""
    problems = [
        ReportLine(each.line, each.column, each.found, sentence(each.error))
        for each in report.problems[:MOST_SHOWN]
    ]
    notes = [
        ReportLine(session.first_line, question.side.label, f"{question.level_cm:g} cm", says)
        for session, question in report.unusual[:MOST_SHOWN]
        for says in [question_sentence(question)]
    ]
    notes += [
        ReportLine(session.first_line, "level_cm", "", sentence(missing))
        for session, missing in report.left_out[:MOST_SHOWN]
    ]
    return {
        "problems": problems,
        "notes": sorted(notes, key=lambda note: note.line),
        "sessions": report.sessions[:MOST_SHOWN],
        "most_shown": MOST_SHOWN,
    }


def _example(protocols: list[Protocol]) -> HttpResponse:
    """A small file to begin from, for the first protocol in use."""
    response = csv_answer("past-girths-example.csv")
    rows = csv.writer(response)
    rows.writerow([column.name for column in COLUMNS])
    if protocols:
        values = {column.name: column.example for column in COLUMNS}
        values |= {"protocol": protocols[0].name, "limb": protocols[0].limb}
        for side, girth_cm in (("right", 24), ("left", 23)):
            for step, station in enumerate(protocols[0].stations.all()):
                own = {"side": side, "level_cm": f"{float(station.level_cm):g}"}
                own["girth_cm"] = str(girth_cm + step * 0.5)
                rows.writerow((values | own).values())
    return response
