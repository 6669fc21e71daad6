"""Pages about progress letters, progress reports and discharge summaries."""

from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from clinic.accounts.permits import permit
from clinic.clients.models import Episode
from clinic.clients.selectors import episodes_for, with_story
from clinic.clients.services import note_episode_seen
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.common.print import can_print
from clinic.letters import services
from clinic.letters.errors import DraftExists
from clinic.letters.forms import ApproveForm, DiscardForm, PeriodForm, TextsForm
from clinic.letters.kinds import LetterKind
from clinic.letters.models import ProgressLetter
from clinic.letters.pdf import letter_pdf
from clinic.letters.proposals import proposed_line
from clinic.letters.selectors import (
    draft_of,
    first_period,
    letters_for,
    letters_of,
    offers,
    stored_pdf,
)
from clinic.letters.sending.selectors import sendings_for
from clinic.letters.sentences import INSTALL, sentence
from clinic.letters.sheet import Sheet, blocks


def _episode(request: HttpRequest, episode_id: UUID) -> Episode:
    return get_object_or_404(with_story(episodes_for(request.user)), pk=episode_id)


def _letter(request: HttpRequest, letter_id: UUID) -> ProgressLetter:
    return get_object_or_404(letters_for(request.user), pk=letter_id)


@permit("letters.see")
@require_safe
def letters(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    episode = _episode(request, episode_id)
    note_episode_seen(episode=episode, by=request.user)
    found = list(letters_of(episode, request.user))
    shown = {"episode": episode, "letters": found, "offers": offers(found)}
    return render(request, "letters/letters.html", shown | _printing())


@permit("letters.write")
@look_or_send
def compile_letter(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    episode, kind = _episode(request, episode_id), _kind(request)
    if draft := draft_of(episode, kind):
        return redirect("letter", draft.pk)
    first_on, last_on = first_period(episode, kind, timezone.localdate())
    form = PeriodForm(
        request.POST or None,
        initial={"period_from": first_on, "period_to": last_on, "kind": kind},
        back=reverse("letters", args=[episode.pk]),
    )
    if form.is_valid():
        with form.catching(RuleBroken):
            return redirect("letter", _compiled(request, episode, form).pk)
    shown = {"episode": episode, "form": form, "kind": kind, "problem": _problem(episode, kind)}
    return render(request, "letters/compile.html", shown | _printing())


def _kind(request: HttpRequest) -> LetterKind:
    """Which of the three is asked for; a letter when nothing is said."""
    asked = (request.POST or request.GET).get("kind") or LetterKind.LETTER
    if asked not in set(LetterKind):
        raise Http404
    return LetterKind(asked)


def _compiled(request: HttpRequest, episode: Episode, form: PeriodForm) -> ProgressLetter:
    """The new draft, or the one that somebody else began at the same moment."""
    try:
        return services.compile_letter(episode=episode, by=request.user, **form.cleaned_data)
    except DraftExists as error:
        messages.info(request, sentence(error))
        found: ProgressLetter = error.draft
        return found


def _problem(episode: Episode, kind: LetterKind) -> str:
    """Why none may go out at all, said before a period is chosen."""
    try:
        services.reader_of(episode, kind)
    except RuleBroken as error:
        return sentence(error)
    return ""


@permit("letters.see")
@look_or_send
def letter(request: HttpRequest, letter_id: UUID) -> HttpResponse:
    found = _letter(request, letter_id)
    if found.is_approved:
        services.record_look(letter=found, by=request.user)
        shown = {
            "letter": found,
            "blocks": blocks(found.kind_word, services.texts_of(found)),
            "sendings": sendings_for(request.user).filter(letter=found).order_by("batch__made_at"),
        }
        return render(request, "letters/approved.html", shown)
    form = TextsForm(request.POST or None, instance=found)
    if form.is_valid():
        return _edited(request, form)
    if request.method != "POST":
        services.record_look(letter=found, by=request.user)
    return _draft_page(request, form)


def _edited(request: HttpRequest, form: TextsForm) -> HttpResponse:
    with form.catching(RuleBroken):
        kept = services.edit_letter(
            letter=form.instance, texts=form.texts(), edited_at=form.opened_at(), by=request.user
        )
        if request.htmx:
            return _saved(request, kept)
        wants_approval = "approve" in request.POST
        return redirect("letter-approve" if wants_approval else "letter", kept.pk)
    return _draft_page(request, form)


def _draft_page(request: HttpRequest, form: TextsForm) -> HttpResponse:
    """The form with what was typed; the preview shows what is stored."""
    if request.htmx:
        return render(request, "letters/_not_saved.html", {"form": form}, status=422)
    stored = _letter(request, form.instance.pk)
    shown = {"letter": stored, "form": form} | _sheet_or_why(stored, request) | _printing()
    return render(request, "letters/letter.html", shown)


def _saved(request: HttpRequest, letter: ProgressLetter) -> HttpResponse:
    shown = {"letter": letter} | _sheet_or_why(letter, request)
    return render(request, "letters/_saved.html", shown)


def _sheet_or_why(letter: ProgressLetter, request: HttpRequest) -> dict[str, object]:
    """The draft's sheet, or the sentence why the record no longer makes one."""
    try:
        sheet = services.draft_sheet(letter, request.user)
        return {"sheet": sheet, "record_says": record_says(sheet)}
    except RuleBroken as error:
        return {"sheet": None, "why_not": sentence(error)}


def record_says(sheet: Sheet) -> str:
    """The sentence the record proposes today, when it is not the one in the letter."""
    proposed = proposed_line(sheet.summary)
    return "" if proposed == sheet.texts.bottom_line else proposed


def _printing() -> dict[str, object]:
    return {"install": "" if can_print() else INSTALL}


@permit("letters.approve")
@look_or_send
def approve(request: HttpRequest, letter_id: UUID) -> HttpResponse:
    found = _letter(request, letter_id)
    if found.is_approved:
        return redirect("letter", found.pk)
    form = ApproveForm(request.POST or None)
    if form.is_valid():
        with form.catching(RuleBroken):
            services.approve_letter(
                letter=found, digest=form.cleaned_data["digest"], by=request.user
            )
            messages.success(request, "Approved. The PDF is kept exactly as it is.")
            return redirect("letter", found.pk)
    services.record_look(letter=found, by=request.user)
    return _approve_page(request, found, form)


def _approve_page(request: HttpRequest, letter: ProgressLetter, form: ApproveForm) -> HttpResponse:
    shown: dict[str, object] = {"letter": letter, "form": form}
    try:
        services.check_may_approve(letter, request.user)
        final = services.final_sheet(letter, request.user)
        letter_pdf(final)
    except RuleBroken as error:
        shown["why_not"] = sentence(error)
    else:
        shown |= {"sheet": final, "digest": final.digest, "record_says": record_says(final)}
    return render(request, "letters/approve.html", shown)


@permit("letters.write")
@look_or_send
def discard(request: HttpRequest, letter_id: UUID) -> HttpResponse:
    found = _letter(request, letter_id)
    form = DiscardForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        with form.catching(RuleBroken):
            services.discard_letter(letter=found, by=request.user)
            messages.success(request, "The draft is gone. Nothing was sent.")
            return redirect("letters", found.episode_id)
    return render(request, "letters/discard.html", {"letter": found, "form": form})


@permit("letters.see")
@require_safe
def pdf(request: HttpRequest, letter_id: UUID) -> HttpResponse:
    found = _letter(request, letter_id)
    try:
        content = stored_pdf(found) if found.is_approved else _draft_pdf(found, request)
    except RuleBroken as error:
        return _no_pdf(request, found, error)
    services.record_print(letter=found, by=request.user)
    word = found.kind_word.paper
    named = f'inline; filename="{word}-{found.period_to:%Y-%m-%d}.pdf"'
    return HttpResponse(
        content, content_type="application/pdf", headers={"Content-Disposition": named}
    )


def _draft_pdf(letter: ProgressLetter, request: HttpRequest) -> bytes:
    sheet: Sheet = services.draft_sheet(letter, request.user)
    return letter_pdf(sheet)


def _no_pdf(request: HttpRequest, letter: ProgressLetter, error: RuleBroken) -> HttpResponse:
    shown = {"letter": letter, "why_not": sentence(error)}
    return render(request, "letters/no_pdf.html", shown, status=503)
