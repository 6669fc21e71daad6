"""The visit page: begin, chart, save, settle, copy forward, discard."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from clinic.accounts.permits import permit
from clinic.clients.services import note_episode_seen
from clinic.common.errors import RuleBroken
from clinic.common.methods import look_or_send
from clinic.scheduling.ranges import span_of, wall
from clinic.scheduling.selectors.cards import appointments_for
from clinic.visits.conflict import differences, kept
from clinic.visits.errors import NoteChangedMeanwhile, NoteGone
from clinic.visits.forms.notes import NewVisitForm, NoteForm, SettleForm
from clinic.visits.models import VisitNote
from clinic.visits.note_sentences import sentence
from clinic.visits.selectors.notes import notes_for, notes_of, visit_desk
from clinic.visits.services import notes as writes
from clinic.visits.views.pieces import (
    SECTION,
    found_episode,
    found_note,
    note_page,
    note_to_save,
    open_episodes,
    sheet_page,
    to_sign,
    usual_kind,
)
from clinic.visits.words import Section


@permit("notes.see")
@require_safe
def visits(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    """Every note of an episode, latest first."""
    episode = found_episode(request, episode_id)
    note_episode_seen(episode=episode, by=request.user)
    shown = {"episode": episode, "notes": notes_of(episode)}
    return render(request, "visits/notes.html", shown | SECTION)


@permit("notes.write")
@look_or_send
def new(request: HttpRequest, episode_id: UUID) -> HttpResponse:
    """Begin a note without an appointment."""
    episode = found_episode(request, episode_id)
    back = reverse("client", args=[episode.client_id])
    form = NewVisitForm(request.POST or None, kind=usual_kind(episode), back=back)
    if form.is_valid():
        kind, visited_on = form.answer()
        with form.catching(RuleBroken):
            note = writes.begin_note(
                episode=episode, kind=kind, visited_on=visited_on, by=request.user
            )
            return redirect("visit", note.pk)
    shown = {"episode": episode, "form": form}
    return render(request, "visits/new.html", shown | SECTION)


@permit("notes.write")
@require_POST
def of_appointment(request: HttpRequest, appointment_id: UUID) -> HttpResponse:
    """Begin the note of an appointment, or open the one there is."""
    appointment = get_object_or_404(appointments_for(request.user), pk=appointment_id)
    if begun := notes_for(request.user).filter(appointment=appointment).first():
        return redirect("visit", begun.pk)
    episodes = open_episodes(request, appointment.client_id)
    chosen = [each for each in episodes if str(each.pk) == request.POST.get("episode")]
    if len(chosen or episodes) != 1:
        shown = {"appointment": appointment, "episodes": episodes}
        return render(request, "visits/which_episode.html", shown | SECTION)
    episode = (chosen or episodes)[0]
    try:
        note = writes.begin_note(
            episode=episode,
            kind=usual_kind(episode, appointment.kind.purpose),
            visited_on=wall(span_of(appointment.period).starts_at).date(),
            by=request.user,
            appointment=appointment,
        )
    except RuleBroken as error:
        messages.error(request, sentence(error))
        return redirect("appointment", appointment.pk)
    return redirect("visit", note.pk)


@permit("notes.see")
@require_safe
def visit(request: HttpRequest, note_id: UUID) -> HttpResponse:
    """The draft to go on with, or the signed sheet to read."""
    note = found_note(request, note_id)
    writes.note_look(note=note, verb="note.seen", by=request.user)
    if note.signed_at is not None:
        return sheet_page(request, note)
    return note_page(request, visit_desk(note, request.user), NoteForm(note=note))


@permit("notes.write")
@require_POST
def save(request: HttpRequest, note_id: UUID) -> HttpResponse:
    """Keep what is typed. A script is answered with what changes on the page."""
    note = note_to_save(request, note_id)
    form = NoteForm(request.POST, note=note)
    if not form.is_valid():
        return _not_saved(request, note, form)
    try:
        saved = writes.save_note(
            note=note,
            typed=form.typed(),
            revision=form.cleaned_data["revision"],
            by=request.user,
        )
    except NoteChangedMeanwhile:
        return _conflict(request, note)
    except NoteGone as error:
        return render(request, "visits/_refused.html", {"said": sentence(error)}, status=410)
    except RuleBroken as error:
        return _refused(request, note, form, error)
    return _saved(request, saved, form)


def _saved(request: HttpRequest, note: VisitNote, form: NoteForm) -> HttpResponse:
    if not request.htmx:
        if form.bad_rows:
            desk = visit_desk(note, request.user)
            return note_page(request, desk, form.at_revision(note.revision), status=422)
        if "sign" in request.POST:
            return redirect("visit-sign", note.pk)
        messages.success(request, "Saved as a draft.")
        return redirect("visit", note.pk)
    shown = {"note": note, "form": form, "saved_at": timezone.now()}
    if request.POST.get("draw"):
        desk = visit_desk(note, request.user)
        shown |= {"desk": desk} | to_sign(desk)
    return render(request, "visits/_saved.html", shown)


def _not_saved(request: HttpRequest, note: VisitNote, form: NoteForm) -> HttpResponse:
    if request.htmx:
        return render(request, "visits/_not_saved.html", {"form": form}, status=422)
    return note_page(request, visit_desk(note, request.user), form, status=422)


def _refused(
    request: HttpRequest, note: VisitNote, form: NoteForm, error: RuleBroken
) -> HttpResponse:
    """A rule said no. A signed note keeps nothing more, so the page with the sheet follows."""
    fresh = found_note(request, note.pk)
    if fresh.signed_at is not None and not request.htmx:
        messages.error(request, sentence(error))
        return sheet_page(request, fresh, status=409)
    if fresh.signed_at is not None:
        shown = {"said": sentence(error), "note": fresh}
        return render(request, "visits/_refused.html", shown, status=409)
    with form.catching(RuleBroken):
        raise error
    return _not_saved(request, fresh, form)


def _conflict(request: HttpRequest, note: VisitNote) -> HttpResponse:
    """Both versions side by side; a full page where there is no script."""
    desk = visit_desk(found_note(request, note.pk), request.user)
    if request.htmx:
        shown = {"desk": desk, "note": desk.note, "differences": differences(desk)}
        return render(request, "visits/_conflict.html", shown, status=409)
    return note_page(request, desk, NoteForm(note=desk.note), status=409)


@permit("notes.write")
@require_POST
def settle(request: HttpRequest, note_id: UUID) -> HttpResponse:
    """Keep the version of each part that the person chose."""
    note = found_note(request, note_id)
    aside = visit_desk(note, request.user).own_set_aside
    form = SettleForm(request.POST)
    if aside is None or not form.is_valid():
        return redirect("visit", note.pk)
    chosen = form.typed(aside.typed, kept(note))
    try:
        writes.settle_texts(
            note=note, typed=chosen, revision=form.cleaned_data["revision"], by=request.user
        )
    except RuleBroken as error:
        messages.error(request, sentence(error))
    else:
        messages.success(request, "Both versions are settled. Read the note once more.")
    return redirect("visit", note.pk)


@permit("notes.write")
@require_POST
def copy(request: HttpRequest, note_id: UUID) -> HttpResponse:
    """Take over one section of the note before, or all."""
    note = found_note(request, note_id)
    named = request.POST.getlist("section")
    sections = [section for section in Section if section.value in named or "all" in named]
    said = ""
    try:
        note = _typed_first(request, note)
        note = writes.copy_forward(note=note, sections=sections, by=request.user)
    except RuleBroken as error:
        said = sentence(error)
    if request.htmx:
        desk = visit_desk(note, request.user)
        form = NoteForm(note=note)
        parts = [
            (part, form[part.section.value], part.section is Section.OBSERVATIONS)
            for part in desk.sections
            if part.section in sections
        ]
        shown = {"desk": desk, "note": note, "form": form, "parts": parts, "said": said}
        shown |= {"saved_at": timezone.now()} | to_sign(desk)
        return render(request, "visits/_copied.html", shown)
    if said:
        messages.warning(request, said)
    return redirect("visit", note.pk)


def _typed_first(request: HttpRequest, note: VisitNote) -> VisitNote:
    """Without a script the button sends the whole page along: keep it before copying."""
    form = NoteForm(request.POST, note=note)
    if request.htmx or not form.is_valid():
        return note
    revision = form.cleaned_data["revision"]
    return writes.save_note(note=note, typed=form.typed(), revision=revision, by=request.user)


@permit("notes.write")
@look_or_send
def discard(request: HttpRequest, note_id: UUID) -> HttpResponse:
    note = found_note(request, note_id)
    if request.method == "POST":
        try:
            writes.discard_note(note=note, by=request.user)
        except RuleBroken as error:
            messages.error(request, sentence(error))
            return redirect("visit", note.pk)
        messages.success(request, "The draft is gone.")
        return redirect("visits", note.episode_id)
    return render(request, "visits/discard.html", {"note": note} | SECTION)
