"""Reads of visit notes."""

from django.db.models import QuerySet

from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.visits.desk import VisitDesk
from clinic.visits.models import VisitNote
from clinic.visits.sheet import NoteSheet


def notes_for(user: User) -> QuerySet[VisitNote]:
    """The notes this person may see, with episode, client and people joined."""
    raise NotImplementedError


def visit_desk(note: VisitNote, user: User) -> VisitDesk:
    """All that the page of a visit shows."""
    raise NotImplementedError


def note_sheet(note: VisitNote) -> NoteSheet:
    """The signed content for reading and print. Raises NoteNotSigned."""
    raise NotImplementedError


def notes_of(episode: Episode) -> QuerySet[VisitNote]:
    """Every note of an episode, latest first, people joined. One query."""
    raise NotImplementedError


def unsigned_notes(user: User) -> QuerySet[VisitNote]:
    """Drafts of this person, and notes that wait for a co-signature she may give."""
    raise NotImplementedError
