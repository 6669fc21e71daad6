"""Signing, co-signing, addenda, and red flags acknowledged. What is signed is never touched."""

import json

from django.db import transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.accounts.selectors import practice_card
from clinic.audit import services as audit
from clinic.clients.models import Client
from clinic.visits import snapshot
from clinic.visits.desk import VisitDesk
from clinic.visits.errors import (
    CannotSign,
    CosignerUnsuited,
    NoCosignatureWanted,
    NoteChangedMeanwhile,
    NoteKept,
    NoteNotSigned,
    RedFlagNotThere,
    TextMissing,
)
from clinic.visits.models import COSIGNING, Addendum, RedFlagSeen, VisitNote
from clinic.visits.red_flags import RedFlag
from clinic.visits.seal import canonical_bytes, seal_of
from clinic.visits.selectors import sheets
from clinic.visits.selectors.notes import found_red_flags, visit_desk
from clinic.visits.services.notes import locked_note, settle_set_aside
from clinic.visits.sheet import NoteSheet
from clinic.visits.typed import tidied
from clinic.visits.words import NoteState

SIGNING = [
    "precautions_asked",
    "signed_at",
    "signed_by",
    "signature",
    "is_late_entry",
    "needs_cosignature",
    "signed",
    "seal",
]
LONGEST_REASON = 300


def sheet_to_sign(desk: VisitDesk, by: User) -> NoteSheet:
    """The draft as it would be signed now by this person, for a last look."""
    return sheets.sheet_to_sign(desk, by)


@transaction.atomic
def sign_note(*, note: VisitNote, revision: int, by: User) -> VisitNote:
    """Sign a draft for good: its content is written down whole and sealed, or nothing is.

    `revision` is that of the page this person read. The client's row is locked first, so that no
    precaution can be recorded between the check and the signature. Raises CannotSign with every
    missing part, NoteChangedMeanwhile, NoteKept, NoteGone.
    """
    stored = _locked_draft(note)
    if stored.revision != revision:
        raise NoteChangedMeanwhile(note=stored)
    desk = visit_desk(stored, by)
    if desk.missing:
        raise CannotSign(desk.missing)
    stored.precautions_asked = desk.precautions.review
    stored.signed_at, stored.signed_by, stored.signature = timezone.now(), by, by.signature
    stored.is_late_entry = sheets.is_late(stored.visited_on, timezone.localdate())
    stored.needs_cosignature = by.needs_cosignature
    stored.signed = json.loads(canonical_bytes(snapshot.note_content(desk, practice_card())))
    stored.seal = seal_of(stored.signed)
    stored.save(update_fields=SIGNING)
    audit.record(by, "note.signed", client=stored.episode.client, subject=stored)
    return stored


@transaction.atomic
def cosign_note(*, note: VisitNote, by: User) -> VisitNote:
    """Stand behind another's signed note, once.

    Raises NoteNotSigned, NoCosignatureWanted, CosignerUnsuited, NoteGone.
    """
    stored = _locked_signed(note)
    if stored.state is not NoteState.AWAITING_COSIGNATURE:
        raise NoCosignatureWanted
    is_signer = by.pk == stored.signed_by_id
    if is_signer or by.needs_cosignature or not by.is_clinical:
        raise CosignerUnsuited(is_signer=is_signer)
    stored.cosigned_at, stored.cosigned_by = timezone.now(), by
    stored.cosignature = by.signature
    stored.cosignature_seal = seal_of(snapshot.cosignature_content(stored))
    stored.save(update_fields=COSIGNING)
    audit.record(by, "note.cosigned", client=stored.episode.client, subject=stored)
    return stored


@transaction.atomic
def add_addendum(*, note: VisitNote, text: str, by: User) -> Addendum:
    """Add words to a signed note, dated, signed and sealed; what was signed stays.

    Text of this person that came too late for the note is settled by it. Raises NoteNotSigned,
    TextMissing, NoteGone.
    """
    stored = _locked_signed(note)
    if not tidied(text):
        raise TextMissing("text")
    addendum = Addendum(note=stored, text=tidied(text), written_by=by, signature=by.signature)
    addendum.written_at = timezone.now()
    addendum.seal = seal_of(snapshot.addendum_content(addendum))
    addendum.save(force_insert=True)
    settle_set_aside(stored, by)
    audit.record(by, "note.addended", client=stored.episode.client, subject=stored)
    return addendum


@transaction.atomic
def acknowledge_red_flag(*, note: VisitNote, flag: RedFlag, action: str, by: User) -> RedFlagSeen:
    """Keep that a red flag was seen and what was done; the record gives what it rests on.

    Raises RedFlagNotThere, TextMissing, NoteKept, NoteGone.
    """
    stored = _locked_draft(note)
    if not tidied(action):
        raise TextMissing("action")
    found = [each.flag for each in found_red_flags(stored) if not each.is_acknowledged]
    standing = next((each for each in found if each.kind is flag.kind), None)
    if standing is None:
        raise RedFlagNotThere
    seen = RedFlagSeen.objects.create(
        note=stored,
        kind=standing.kind,
        because="; ".join(standing.because)[:LONGEST_REASON],
        action=tidied(action)[:LONGEST_REASON],
        seen_by=by,
    )
    audit.record(by, "red_flag.seen", client=stored.episode.client, subject=stored)
    return seen


def _locked_draft(note: VisitNote) -> VisitNote:
    """Client first, as `record_precaution` locks it, then the note. Raises NoteKept, NoteGone."""
    Client.objects.select_for_update(no_key=True).get(episodes=note.episode_id)
    stored = locked_note(note)
    if stored.signed_at is not None:
        raise NoteKept(stored)
    return stored


def _locked_signed(note: VisitNote) -> VisitNote:
    stored = locked_note(note)
    if stored.signed_at is None:
        raise NoteNotSigned
    return stored
