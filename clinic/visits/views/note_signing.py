"""Signing, co-signing, addenda and print."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import permit
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.visits.errors import CannotSign
from clinic.visits.forms.notes import AddendumForm, RevisionForm
from clinic.visits.models import VisitNote
from clinic.visits.note_sentences import sentence
from clinic.visits.selectors.notes import note_sheet, visit_desk
from clinic.visits.services import signing
from clinic.visits.services.notes import note_look
from clinic.visits.views.pieces import SECTION, found_note, sheet_page, to_sign


@permit("notes.sign")
@look_or_send
def sign(request: HttpRequest, note_id: UUID) -> HttpResponse:
    """What will be signed, as it will stand; what is missing, with the way to it."""
    note = found_note(request, note_id)
    if note.signed_at is not None:
        return redirect("visit", note.pk)
    form = RevisionForm(request.POST or None, initial={"revision": note.revision})
    if form.is_valid():
        return _signed(request, note, form.cleaned_data["revision"])
    note_look(note=note, verb="note.seen", by=request.user)
    return _sign_page(request, note)


def _signed(request: HttpRequest, note: VisitNote, revision: int) -> HttpResponse:
    try:
        signed = signing.sign_note(note=note, revision=revision, by=request.user)
    except CannotSign:
        return _sign_page(request, note, status=422)
    except RuleBroken as error:
        messages.error(request, sentence(error))
        return redirect("visit", note.pk)
    waits = signed.needs_cosignature
    messages.success(request, "Signed. It waits for a co-signature." if waits else "Signed.")
    return redirect("visit", note.pk)


def _sign_page(request: HttpRequest, note: VisitNote, *, status: int = 200) -> HttpResponse:
    desk = visit_desk(note, request.user)
    shown = {"note": note, "desk": desk, "sheet": signing.sheet_to_sign(desk, request.user)}
    return render(request, "visits/sign.html", shown | to_sign(desk) | SECTION, status=status)


@permit("notes.sign")
@require_POST
def cosign(request: HttpRequest, note_id: UUID) -> HttpResponse:
    note = found_note(request, note_id)
    try:
        signing.cosign_note(note=note, by=request.user)
    except RuleBroken as error:
        messages.error(request, sentence(error))
    else:
        messages.success(request, "Co-signed.")
    return redirect("visit", note.pk)


@permit("notes.write")
@require_POST
def addendum(request: HttpRequest, note_id: UUID) -> HttpResponse:
    """Add dated words to a signed note."""
    note = found_note(request, note_id)
    form = AddendumForm(request.POST)
    if form.is_valid():
        with form.catching(RuleBroken):
            signing.add_addendum(note=note, text=form.cleaned_data["text"], by=request.user)
            messages.success(request, "The addendum stands under the note.")
            return redirect("visit", note.pk)
    if note.signed_at is None:
        messages.error(request, "This note is not signed yet: write in the note itself.")
        return redirect("visit", note.pk)
    return sheet_page(request, note, addendum=form, status=422)


@permit("notes.see")
@require_safe
def printed(request: HttpRequest, note_id: UUID) -> HttpResponse:
    """The signed sheet alone, for paper."""
    note = found_note(request, note_id)
    if note.signed_at is None:
        messages.error(request, "A draft is not printed: sign it first.")
        return redirect("visit", note.pk)
    note_look(note=note, verb="note.printed", by=request.user)
    return render(request, "visits/print.html", {"note": note, "sheet": note_sheet(note)})
