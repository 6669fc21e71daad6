"""Parts of the visit page that are kept by themselves, without touching the note's text."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import permit
from clinic.common.errors import RuleBroken
from clinic.common.forms import Catching
from clinic.common.methods import look_or_send
from clinic.visits.desk import VisitDesk
from clinic.visits.forms.notes import ActionForm
from clinic.visits.models import VisitNote
from clinic.visits.selectors.notes import visit_desk
from clinic.visits.services.signing import acknowledge_red_flag
from clinic.visits.views.pieces import ask_form, found_note, lists, to_sign, told_form
from programmes.forms.care import AdherenceForm
from programmes.services import care


def _answer(
    request: HttpRequest, template: str, desk: VisitDesk, form: Catching | None = None
) -> HttpResponse:
    """The part drawn anew for a script, or the whole page again where there is none."""
    is_wrong = form is not None and form.is_bound and bool(form.errors)
    if not request.htmx:
        if is_wrong and form is not None:
            messages.error(
                request, " ".join(said for each in form.errors.values() for said in each)
            )
        return redirect("visit", desk.note.pk)
    shown = {"desk": desk, "note": desk.note, "form": form, "is_answer": True}
    shown |= {"ask": ask_form(desk.note), "told": told_form(desk)} | lists() | to_sign(desk)
    return render(request, f"visits/{template}.html", shown, status=422 if is_wrong else 200)


@permit("precautions.edit")
@look_or_send
def precautions(request: HttpRequest, note_id: UUID) -> HttpResponse:
    """Keep that every precaution was asked at this visit; each yes is found that day."""
    note = found_note(request, note_id)
    form = ask_form(note, request.POST or None)
    if form.is_valid():
        said = form.cleaned_data
        answer = care.Asked(asked_on=said["asked_on"], yes=form.found(), note=said["note"])
        with form.catching(RuleBroken):
            care.review_precautions(client=note.episode.client, asked=answer, by=request.user)
    return _answer(request, "_precautions_answer", visit_desk(note, request.user), form)


@permit("adherence.record")
@require_POST
def adherence(request: HttpRequest, note_id: UUID) -> HttpResponse:
    """Keep how the programme was followed, told on the day of the visit."""
    note = found_note(request, note_id)
    form = AdherenceForm(request.POST, places=(), auto_id="told_%s")
    if form.is_valid():
        said = form.cleaned_data
        told = care.Told(said["recorded_on"], said["days_done"], (), said["note"])
        with form.catching(RuleBroken):
            care.record_adherence(episode=note.episode, told=told, by=request.user)
    return _answer(request, "_adherence", visit_desk(note, request.user), form)


@permit("notes.see")
@require_safe
def readings(request: HttpRequest, note_id: UUID) -> HttpResponse:
    """What the tape says today, after a session was recorded in place."""
    desk = visit_desk(found_note(request, note_id), request.user)
    return _answer(request, "_readings_answer", desk)


@permit("notes.write")
@require_POST
def red_flag(request: HttpRequest, note_id: UUID) -> HttpResponse:
    """Acknowledge one red flag with what was done about it."""
    note = found_note(request, note_id)
    form = ActionForm(request.POST)
    if form.is_valid():
        with form.catching(RuleBroken):
            _acknowledge(request, note, form)
    return _answer(request, "_red_flags_answer", visit_desk(note, request.user), form)


def _acknowledge(request: HttpRequest, note: VisitNote, form: ActionForm) -> None:
    desk = visit_desk(note, request.user)
    said = form.cleaned_data
    found = [each.flag for each in desk.open_red_flags if each.flag.kind == said["kind"]]
    if not found:
        form.add_error(None, "This red flag no longer stands, or somebody has acknowledged it.")
        return
    acknowledge_red_flag(note=note, flag=found[0], action=said["action"], by=request.user)
