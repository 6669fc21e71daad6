"""Pages of the monthly run, up to approval. What is approved goes on from there."""

from datetime import date
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import permit
from clinic.audit import services as audit
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.letters.models import LetterRun
from clinic.letters.runs import services
from clinic.letters.runs.forms import MonthForm
from clinic.letters.runs.selectors import (
    Counts,
    Shown,
    counts_of,
    first_filled,
    is_anyone_compiling,
    months_offered,
    queue_of,
    rows_for,
    rows_shown,
    runs_for,
    runs_listed,
)
from clinic.letters.runs.sentences import sentence


def _run(request: HttpRequest, run_id: UUID) -> LetterRun:
    return get_object_or_404(runs_for(request.user), pk=run_id)


@permit("letters.run")
@look_or_send
def runs(request: HttpRequest) -> HttpResponse:
    months = months_offered(timezone.localdate())
    form = MonthForm(request.POST or None, months=months, initial={"month": months[0].isoformat()})
    if form.is_valid():
        with form.catching(RuleBroken):
            run = services.start_run(month=form.cleaned_data["month"], by=request.user)
            return redirect("letter-run", run.pk)
    shown = {"form": form, "runs": runs_listed(request.user), "section": "letter-runs"}
    return render(request, "letters/runs/runs.html", shown)


@permit("letters.run")
@require_safe
def run(request: HttpRequest, run_id: UUID) -> HttpResponse:
    found = _run(request, run_id)
    counts = counts_of(found, request.user)
    wanted = request.GET.get("show", "")
    shown = Shown(wanted) if wanted in set(Shown) else first_filled(counts)
    page = rows_shown(found, request.user, shown=shown, number=request.GET.get("page"))
    audit.record(request.user, "letter_run.seen", subject=found)
    listed = {"shown": shown, "page": page, "query": f"show={shown.value}"}
    return render(request, "letters/runs/run.html", listed | _progress(found, counts))


def _progress(found: LetterRun, counts: Counts) -> dict[str, object]:
    is_stuck = bool(counts.waiting) and not is_anyone_compiling()
    return {"run": found, "counts": counts, "is_stuck": is_stuck, "section": "letter-runs"}


@permit("letters.run")
@require_safe
def progress(request: HttpRequest, run_id: UUID) -> HttpResponse:
    """The bar alone; once all is compiled, the whole page again."""
    found = _run(request, run_id)
    counts = counts_of(found, request.user)
    if not request.htmx:
        return redirect("letter-run", found.pk)
    if not counts.waiting:
        return HttpResponse(headers={"HX-Refresh": "true"})
    return render(request, "letters/runs/_progress.html", _progress(found, counts))


@permit("letters.run")
@require_POST
def repeat(request: HttpRequest, run_id: UUID) -> HttpResponse:
    found = _run(request, run_id)
    month: date = found.month
    services.start_run(month=month, by=request.user)
    messages.success(request, "Looked again. Letters that were there stay as they are.")
    return redirect("letter-run", found.pk)


@permit("letters.run")
@require_safe
def review(request: HttpRequest, run_id: UUID) -> HttpResponse:
    """To the first letter still to decide on."""
    found = _run(request, run_id)
    first = queue_of(found, request.user).after
    return redirect("run-letter", first) if first else redirect("letter-run", found.pk)


@permit("letters.run")
@require_POST
def put_back(request: HttpRequest, row_id: UUID) -> HttpResponse:
    row = get_object_or_404(rows_for(request.user), pk=row_id)
    try:
        services.put_back(row=row, by=request.user)
    except RuleBroken as error:
        messages.error(request, sentence(error))
        return redirect("letter-run", row.run_id)
    messages.success(request, "Back in the run.")
    return redirect("letter-run", row.run_id)
