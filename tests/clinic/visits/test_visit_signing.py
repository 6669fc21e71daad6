"""The visit page signs: what is missing, the signature, addenda, co-signing, paper, discarding."""

import pytest
from django.test import Client as Browser

from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.common.vocabulary import Role
from clinic.visits.models import VisitNote
from clinic.visits.words import NoteState
from tests.cast import Cast, make_staff
from tests.clinic.visits.charting import PLANNED, SAID, asked, ready, signed
from tests.clinic.visits.visit_pages import OTHER, SCRIPT, body, page_of, posted

pytestmark = pytest.mark.django_db


def test_the_signature_lists_what_is_missing_with_the_way_to_it(
    therapist: Browser, note: VisitNote
) -> None:
    said = body(therapist.get(page_of(note, "visit-sign")))
    assert f'href="{page_of(note)}#plan"' in said
    assert "Sign as" not in said
    answer = therapist.post(page_of(note, "visit-sign"), {"revision": note.revision})
    assert answer.status_code == 422
    note.refresh_from_db()
    assert note.state is NoteState.DRAFT


def test_a_whole_note_is_signed_as_it_was_shown(therapist: Browser, cast: Cast) -> None:
    note = ready(cast.therapist)
    said = body(therapist.get(page_of(note, "visit-sign")))
    assert f"Sign as {cast.therapist.signature}" in said
    assert PLANNED in said
    therapist.post(page_of(note, "visit-sign"), {"revision": note.revision})
    said = body(therapist.get(page_of(note)))
    assert f"Signed by {cast.therapist.signature}" in said
    assert "<textarea" in said  # the addendum's
    assert "note-form" not in said


def test_a_note_changed_since_it_was_read_is_not_signed(therapist: Browser, cast: Cast) -> None:
    note = ready(cast.therapist)
    therapist.post(page_of(note, "visit-sign"), {"revision": note.revision - 1})
    note.refresh_from_db()
    assert note.state is NoteState.DRAFT


@pytest.mark.parametrize("headers", [{}, SCRIPT], ids=["page", "script"])
def test_a_signed_note_refuses_saving_with_a_sentence(
    therapist: Browser, cast: Cast, headers: dict[str, str]
) -> None:
    note = signed(cast.therapist)
    values = posted(note, subjective=OTHER)
    answer = therapist.post(page_of(note, "visit-save"), values, headers=headers)
    assert answer.status_code == 409
    assert "cannot be changed" in body(answer)
    note.refresh_from_db()
    assert note.subjective == SAID
    assert OTHER in body(therapist.get(page_of(note)))


def test_an_addendum_stands_under_the_note(therapist: Browser, cast: Cast) -> None:
    note = signed(cast.therapist)
    address = page_of(note, "visit-addendum")
    assert therapist.post(address, {"text": " "}).status_code == 422
    therapist.post(address, {"text": OTHER})
    assert OTHER in body(therapist.get(page_of(note)))


def test_a_draft_takes_no_addendum_and_is_not_printed(therapist: Browser, note: VisitNote) -> None:
    assert therapist.post(page_of(note, "visit-addendum"), {"text": OTHER}).url == page_of(note)
    assert therapist.get(page_of(note, "visit-print")).url == page_of(note)


def test_a_students_note_waits_for_a_colleague(
    therapist: Browser, cast: Cast, lead: Browser, episode: Episode
) -> None:
    student = make_staff("stan", "Stan Reed", Role.THERAPIST, "SPT")
    User.objects.filter(pk=student.pk).update(needs_cosignature=True)
    student.refresh_from_db()
    note = signed(student, episode)
    assert "Waits for a co-signature" in body(lead.get(page_of(note)))
    lead.post(page_of(note, "visit-cosign"))
    said = body(lead.get(page_of(note)))
    assert f"Co-signed by {cast.lead.signature}" in said
    assert "Co-sign as" not in said


def test_the_paper_holds_the_note_and_its_signature(therapist: Browser, cast: Cast) -> None:
    said = body(therapist.get(page_of(signed(cast.therapist), "visit-print")))
    assert PLANNED in said
    assert cast.therapist.signature in said


def test_a_draft_is_discarded_after_a_question(therapist: Browser, note: VisitNote) -> None:
    asked(note, note.therapist)
    assert "Discard this draft?" in body(therapist.get(page_of(note, "visit-discard")))
    therapist.post(page_of(note, "visit-discard"))
    assert not VisitNote.objects.exists()
