"""Signing, co-signing, addenda, and red flags acknowledged. What is signed is never touched."""

from clinic.accounts.models import User
from clinic.visits.models import Addendum, RedFlagSeen, VisitNote
from clinic.visits.red_flags import RedFlag


def sign_note(*, note: VisitNote, revision: int, by: User) -> VisitNote:
    """Sign a draft for good. Raises CannotSign, NoteChangedMeanwhile, NoteKept, NoteGone."""
    raise NotImplementedError


def cosign_note(*, note: VisitNote, by: User) -> VisitNote:
    """Co-sign another's note. Raises NoteNotSigned, NoCosignatureWanted, CosignerUnsuited."""
    raise NotImplementedError


def add_addendum(*, note: VisitNote, text: str, by: User) -> Addendum:
    """Add words to a signed note, dated and signed. Raises NoteNotSigned, TextMissing."""
    raise NotImplementedError


def acknowledge_red_flag(*, note: VisitNote, flag: RedFlag, action: str, by: User) -> RedFlagSeen:
    """Keep what was done about a red flag. Raises RedFlagNotThere, TextMissing, NoteKept."""
    raise NotImplementedError
