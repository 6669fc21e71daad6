"""What several pages of visit notes begin with, and the two pages a note has."""

from typing import Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from clinic.clients.models import Episode
from clinic.clients.selectors import episodes_for, open_precautions, with_phase
from clinic.common.vocabulary import Phase, Precaution
from clinic.scheduling.words import Purpose
from clinic.visits.conflict import differences
from clinic.visits.desk import VisitDesk
from clinic.visits.forms.notes import AddendumForm, NoteForm, rows_kept
from clinic.visits.models import VisitNote
from clinic.visits.note_sentences import to_do
from clinic.visits.red_flags import SIGNS_OF
from clinic.visits.selectors.last_treatment import last_services
from clinic.visits.selectors.notes import note_sheet, notes_for, notes_of, visit_desk
from clinic.visits.words import VisitKind
from programmes.forms.care import AdherenceForm, ReviewForm

SECTION = {"section": "clients"}


def found_episode(request: HttpRequest, episode_id: UUID) -> Episode:
    return get_object_or_404(episodes_for(request.user), pk=episode_id)


def found_note(request: HttpRequest, note_id: UUID) -> VisitNote:
    return get_object_or_404(notes_for(request.user), pk=note_id)


def note_to_save(request: HttpRequest, note_id: UUID) -> VisitNote:
    """That this person may see the note, and little else: it is saved every few seconds."""
    seen = notes_for(request.user).select_related(None).only("copied")
    return get_object_or_404(seen, pk=note_id)


def open_episodes(request: HttpRequest, client_id: UUID) -> list[Episode]:
    """The client's episodes that are not discharged, latest first."""
    found = with_phase(episodes_for(request.user).filter(client=client_id))
    going_on = found.exclude(phase_now=Phase.DISCHARGED).order_by("-opened_on", "pk")
    return list(going_on.prefetch_related("regions"))


def usual_kind(episode: Episode, purpose: str = "") -> VisitKind:
    """What the appointment is for; else the evaluation first and treatment after it."""
    if purpose and purpose != Purpose.OTHER:
        return VisitKind(purpose)
    return VisitKind.TREATMENT if notes_of(episode).exists() else VisitKind.EVALUATION


def note_page(
    request: HttpRequest, desk: VisitDesk, form: NoteForm, *, status: int = 200
) -> HttpResponse:
    """The draft with everything around it."""
    shown = {
        "desk": desk,
        "note": desk.note,
        "form": form,
        "rows": form.rows if form.is_bound else rows_kept(desk),
        "ask": ask_form(desk.note),
        "told": told_form(desk),
        "differences": differences(desk),
        "last_services": last_services(desk),
    }
    shown |= lists() | to_sign(desk) | SECTION
    return render(request, "visits/note.html", shown, status=status)


def lists() -> dict[str, Any]:
    return {"signs_of": SIGNS_OF.items()}


def to_sign(desk: VisitDesk) -> dict[str, Any]:
    """What is missing for the signature, each with the id of what mends it."""
    return {"lacks": [to_do(part) for part in desk.missing]}


def ask_form(note: VisitNote, posted: Any = None) -> ReviewForm:
    """Every precaution that does not stand already. One query."""
    standing = [Precaution(found.precaution) for found in open_precautions(note.episode.client)]
    initial = {"asked_on": note.visited_on}
    return ReviewForm(posted, standing=standing, initial=initial, auto_id="ask_%s")


def told_form(desk: VisitDesk) -> AdherenceForm:
    """How the programme was followed; hard steps are asked on the programme's own page."""
    told = desk.adherence_today.latest
    initial = {"recorded_on": desk.note.visited_on}
    if told:
        initial |= {"days_done": told.days_done, "note": told.note}
    return AdherenceForm(None, places=(), initial=initial, auto_id="told_%s")


def sheet_page(request: HttpRequest, note: VisitNote, **shown: Any) -> HttpResponse:
    """A signed note to read, with what may still be done about it."""
    status = shown.pop("status", 200)
    desk = visit_desk(note, request.user)
    known = {"note": note, "sheet": note_sheet(note), "desk": desk, "addendum": AddendumForm()}
    return render(request, "visits/sheet.html", known | shown | SECTION, status=status)
