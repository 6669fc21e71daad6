"""Today: notes that wait for a signature, and programmes to take back."""

from datetime import time

from django.test import Client as Browser

from clinic.audit.models import Entry
from clinic.common.vocabulary import Precaution
from clinic.scheduling.states import Status
from clinic.visits.services.notes import begin_note
from clinic.visits.words import VisitKind
from programmes.services.drafts import begin_programme
from programmes.services.issue import issue_programme
from tests.builders import make_client, make_episode, today
from tests.cast import Cast
from tests.clinic.scheduling.desk_stories import make_appointment
from tests.programmes.bodies import arm_episode, has


def page_of(user: object) -> str:
    browser = Browser()
    browser.force_login(user)  # type: ignore[arg-type]
    return browser.get("/").content.decode()


def test_a_therapist_sees_whom_they_see_today_and_nobody_elses(cast: Cast) -> None:
    for family, therapist, at, status in [
        ("Larch", cast.therapist, time(11), Status.BOOKED),
        ("Okafor", cast.therapist, time(9), Status.ARRIVED),
        ("Brandt", cast.therapist, time(10), Status.CANCELLED_LATE),
        ("Whitlock", cast.other_therapist, time(9), Status.BOOKED),
    ]:
        client = make_client(family_name=family)
        make_appointment(client, therapist, today(), at, status=status)
    page = page_of(cast.therapist)
    assert page.index("Okafor") < page.index("Larch")
    assert "Brandt" not in page
    assert "Whitlock" not in page
    assert "Your clients today" not in page_of(cast.front_desk)
    assert "Nobody is booked with you today." in page_of(cast.lead)


def test_a_draft_note_waits_on_its_therapists_first_page_only(cast: Cast) -> None:
    episode = make_episode(make_client(family_name="Quill"), cast.therapist)
    begin_note(episode=episode, kind=VisitKind.TREATMENT, visited_on=today(), by=cast.therapist)
    assert "Your signature" in page_of(cast.therapist)
    assert "Notes to sign" not in page_of(cast.other_therapist)
    assert "Notes to sign" not in page_of(cast.front_desk)


def test_a_look_at_what_is_due_is_noted_and_the_front_desks_page_shows_none(cast: Cast) -> None:
    for user in (cast.front_desk, cast.therapist):
        page_of(user)
    entry = Entry.objects.get()
    assert (entry.verb, entry.by, entry.client) == ("today.seen", cast.therapist, None)


def test_a_programme_that_knows_nothing_of_a_new_precaution_is_to_be_taken_back(
    cast: Cast,
) -> None:
    draft = begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)
    held = issue_programme(programme=draft, revision=0, by=cast.therapist)
    assert "programme to take back" not in page_of(cast.therapist)
    has(held.episode, Precaution.PREGNANCY, cast.therapist)
    assert "programme to take back" in page_of(cast.therapist)
    assert "programme to take back" not in page_of(cast.other_therapist)
