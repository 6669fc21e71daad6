"""Writes about drafts of visit notes: begin, save, settle, copy forward, discard."""

from collections.abc import Iterable
from datetime import date

from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.scheduling.models import Appointment
from clinic.visits.models import VisitNote
from clinic.visits.typed import NoteTyped
from clinic.visits.words import Section, VisitKind


def begin_note(
    *,
    episode: Episode,
    kind: VisitKind,
    visited_on: date,
    by: User,
    appointment: Appointment | None = None,
) -> VisitNote:
    """A draft for one visit; the one there already is for an appointment, never a second.

    Raises VisitDayWrong, EpisodeClosed, AppointmentUnsuited.
    """
    raise NotImplementedError


def save_note(*, note: VisitNote, typed: NoteTyped, revision: int, by: User) -> VisitNote:
    """Keep what was typed upon a revision. Raises NoteChangedMeanwhile, NoteKept, NoteGone."""
    raise NotImplementedError


def settle_texts(*, note: VisitNote, typed: NoteTyped, revision: int, by: User) -> VisitNote:
    """Keep the text that a person chose; what was set aside for them is settled."""
    raise NotImplementedError


def copy_forward(*, note: VisitNote, sections: Iterable[Section], by: User) -> VisitNote:
    """Take over sections of the note before, marked as copied. Raises NothingToCopy, NoteKept."""
    raise NotImplementedError


def discard_note(*, note: VisitNote, by: User) -> None:
    """Remove a draft. Raises NoteKept."""
    raise NotImplementedError


def note_look(*, note: VisitNote, verb: str, by: User) -> None:
    """Record that a note was opened ("note.seen") or printed ("note.printed")."""
    raise NotImplementedError
