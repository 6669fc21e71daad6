"""The page of one letter under review: the text beside the letter as it will print."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from clinic.accounts.permits import permit
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.letters import services as letters
from clinic.letters.models import ProgressLetter, RunLetter
from clinic.letters.runs import services
from clinic.letters.runs.errors import RowElsewhere
from clinic.letters.runs.forms import Act, ReviewForm
from clinic.letters.runs.selectors import counts_of, queue_of, rows_for
from clinic.letters.runs.sentences import because, failed_because, sentence
from clinic.letters.selectors import letters_for
from clinic.letters.views import record_says

DONE = {
    Act.APPROVE: "Approved.",
    Act.HOLD: "Held: it comes again at the end.",
    Act.SKIP: "Skipped: no letter this month. The list of skipped ones puts it back.",
}


def _row(request: HttpRequest, row_id: UUID) -> RunLetter:
    return get_object_or_404(rows_for(request.user), pk=row_id)


def _letter(request: HttpRequest, row: RunLetter) -> ProgressLetter:
    return get_object_or_404(letters_for(request.user), pk=row.letter_id)


@permit("letters.run")
@look_or_send
def run_letter(request: HttpRequest, row_id: UUID) -> HttpResponse:
    row = _row(request, row_id)
    if row.letter is None:
        services.record_review(row=row, by=request.user)
        return render(request, "letters/runs/without_letter.html", _about(request, row))
    if row.letter.is_approved:
        return redirect("letter", row.letter_id)
    form = ReviewForm(request.POST or None, instance=_letter(request, row))
    if form.is_valid():
        return _decided(request, row, form)
    if request.method != "POST":
        services.record_review(row=row, by=request.user)
    return _page(request, row, form)


def _about(request: HttpRequest, row: RunLetter) -> dict[str, object]:
    return {
        "row": row,
        "run": row.run,
        "queue": queue_of(row.run, request.user, row),
        "counts": counts_of(row.run, request.user),
        "because": because(row),
        "failed_because": failed_because(row),
        "section": "letter-runs",
    }


def _decided(request: HttpRequest, row: RunLetter, form: ReviewForm) -> HttpResponse:
    """Keep what was typed, do what was pressed, go to the next."""
    act, follows = form.chosen(), queue_of(row.run, request.user, row)
    with form.catching(RuleBroken):
        kept = letters.edit_letter(
            letter=form.instance, texts=form.texts(), edited_at=form.opened_at(), by=request.user
        )
        if request.htmx:
            return _saved(request, row, kept)
        _do(act, row, form, request)
        if act is Act.SAVE:
            return redirect("run-letter", row.pk)
        messages.success(request, DONE[act])
        return _onward(row, follows.after)
    return _page(request, row, form)


def _do(act: Act, row: RunLetter, form: ReviewForm, request: HttpRequest) -> None:
    note = form.cleaned_data["note"]
    if act is Act.APPROVE:
        services.approve_row(row=row, digest=form.cleaned_data["digest"], by=request.user)
    elif act is Act.HOLD:
        services.hold_row(row=row, note=note, by=request.user)
    elif act is Act.SKIP:
        services.skip_row(row=row, note=note, by=request.user)


def _onward(row: RunLetter, following: UUID | None) -> HttpResponse:
    if following is None or following == row.pk:
        return redirect("letter-run", row.run_id)
    return redirect("run-letter", following)


def _saved(request: HttpRequest, row: RunLetter, kept: ProgressLetter) -> HttpResponse:
    shown = {"letter": kept, "row": row} | _sheet(request, kept)
    return render(request, "letters/runs/_saved.html", shown)


def _page(request: HttpRequest, row: RunLetter, form: ReviewForm) -> HttpResponse:
    """The form with what was typed; the letter beside it is the one that is kept."""
    if request.htmx:
        return render(request, "letters/_not_saved.html", {"form": form}, status=422)
    fresh = _row(request, row.pk)
    if fresh.letter is None or fresh.letter.is_approved:
        messages.error(request, sentence(RowElsewhere()))
        return redirect("letter-run", row.run_id)
    stored = _letter(request, fresh)
    shown = {"form": form, "letter": stored, "edited_at": stored.edited_at.isoformat()}
    return render(
        request,
        "letters/runs/review.html",
        _about(request, fresh) | shown | _sheet(request, stored),
    )


def _sheet(request: HttpRequest, letter: ProgressLetter) -> dict[str, object]:
    """The letter as it would print, with the digest of exactly that, or why there is none."""
    try:
        sheet = letters.draft_sheet(letter, request.user)
    except RuleBroken as error:
        return {"sheet": None, "digest": "", "why_not": sentence(error)}
    return {"sheet": sheet, "digest": sheet.digest, "record_says": record_says(sheet)}
