"""Notes that wait for a signature stand on the first page of whoever may give it."""

from django.test import Client as Browser

from clinic.visits.services.notes import begin_note
from clinic.visits.words import VisitKind
from tests.builders import make_client, make_episode, today
from tests.cast import Cast


def page_of(user: object) -> str:
    browser = Browser()
    browser.force_login(user)  # type: ignore[arg-type]
    return browser.get("/").content.decode()


def test_a_draft_note_waits_on_its_therapists_first_page_only(cast: Cast) -> None:
    episode = make_episode(make_client(family_name="Quill"), cast.therapist)
    begin_note(episode=episode, kind=VisitKind.TREATMENT, visited_on=today(), by=cast.therapist)
    assert "Your signature" in page_of(cast.therapist)
    assert "Notes to sign" not in page_of(cast.other_therapist)
    assert "Notes to sign" not in page_of(cast.front_desk)
