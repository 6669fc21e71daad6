"""Pages of home programmes after the draft: issued, taken back, asked about, the exercises."""

import re

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.audit.models import Entry
from clinic.clients.models import PrecautionFound
from clinic.common.vocabulary import Precaution
from programmes.body.steps import steps_of
from programmes.models import AdherenceRecord, ClinicExercise, PrecautionReview, Programme, Standing
from programmes.services.drafts import begin_programme
from programmes.services.issue import issue_programme
from tests.cast import Cast
from tests.programmes.bodies import has, leg_episode
from tests.programmes.editor import fields, page

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("quick_print")]


# Issuing and taking back


def test_a_draft_is_issued_from_its_page(therapist: Browser, draft: Programme) -> None:
    answer = therapist.post(page(draft), fields(draft, do="issue"))
    address = reverse("programme-issue", args=[draft.pk])
    assert answer.url == address
    assert "Sound: every step" in therapist.get(address).content.decode()
    therapist.post(address, {"revision": 0})
    draft.refresh_from_db()
    assert draft.standing is Standing.IN_HAND
    shown = therapist.get(page(draft)).content.decode()
    assert "in the client&#x27;s hands" in shown or "in the client's hands" in shown


def test_an_unsound_draft_asks_for_the_reason_beside_the_field(
    therapist: Browser, draft: Programme
) -> None:
    therapist.post(page(draft), fields(draft, act="remove-3"))
    address = reverse("programme-issue", args=[draft.pk])
    answer = therapist.post(address, {"revision": 1, "reason": ""})
    assert "State your reason" in answer.content.decode()
    therapist.post(address, {"revision": 1, "reason": "Sore armpit this week."})
    draft.refresh_from_db()
    assert draft.unsound_reason == "Sore armpit this week."


def test_a_barred_programme_has_no_issue_button(
    therapist: Browser, draft: Programme, cast: Cast
) -> None:
    has(draft.episode, Precaution.UNTREATED_INFECTION, cast.therapist)
    address = reverse("programme-issue", args=[draft.pk])
    shown = therapist.get(address).content.decode()
    assert "No programme may be issued while this stands" in shown
    assert "Issue the programme</button>" not in shown
    therapist.post(address, {"revision": 0, "reason": "All the same"})
    draft.refresh_from_db()
    assert draft.standing is Standing.DRAFT


def test_withdrawing_asks_for_a_reason(therapist: Browser, held: Programme) -> None:
    address = reverse("programme-withdraw", args=[held.pk])
    answer = therapist.post(address, {"reason": ""})
    assert "This field is required" in answer.content.decode()
    therapist.post(address, {"reason": "New clot."})
    held.refresh_from_db()
    assert held.standing is Standing.WITHDRAWN


def test_the_stored_bytes_are_handed_out(therapist: Browser, held: Programme) -> None:
    answer = therapist.get(reverse("programme-handout", args=[held.pk]))
    assert answer.content == b"%PDF-1.7 stand-in"
    assert answer["Content-Type"] == "application/pdf"
    assert "ngström" not in answer["Content-Disposition"]
    assert Entry.objects.filter(verb="programme.printed").exists()


def test_the_phone_page_has_every_step_and_no_family_name(
    therapist: Browser, held: Programme
) -> None:
    shown = therapist.get(reverse("programme-phone", args=[held.pk])).content.decode()
    sheet = shown[shown.index("<article") : shown.index("</article>")]
    assert "Ångström" not in sheet
    assert len(re.findall(r'id="step-\d+"', sheet)) == len(held.steps)
    assert "Stop and call us" in sheet


def test_a_flag_stands_on_every_page_about_the_programme(
    therapist: Browser, held: Programme, cast: Cast
) -> None:
    has(held.episode, Precaution.ACUTE_CLOT, cast.therapist)
    for address in (page(held), reverse("programmes", args=[held.episode_id])):
        assert "Stop this programme now." in therapist.get(address).content.decode()


# Precautions asked, adherence, exercises


def test_a_yes_at_a_visit_records_the_precaution(therapist: Browser, held: Programme) -> None:
    client = held.episode.client
    address = reverse("precautions-ask", args=[client.pk])
    assert "pregnancy" in therapist.get(address).content.decode().lower()
    therapist.post(address, {"asked_on": "2026-02-02", "yes": ["pregnancy"], "note": "Week 9"})
    review = PrecautionReview.objects.get()
    assert review.found == ["pregnancy"]
    assert len(review.asked) == len(Precaution)
    found = PrecautionFound.objects.get()
    assert (found.precaution, found.note, found.found_by) == (
        "pregnancy",
        "Week 9",
        review.asked_by,
    )


def test_a_standing_precaution_is_not_asked_twice(
    therapist: Browser, draft: Programme, cast: Cast
) -> None:
    has(draft.episode, Precaution.PREGNANCY, cast.therapist)
    address = reverse("precautions-ask", args=[draft.episode.client_id])
    assert 'value="pregnancy"' not in therapist.get(address).content.decode()
    therapist.post(address, {"asked_on": "2026-02-02"})
    assert PrecautionReview.objects.get().standing == ["pregnancy"]


def test_a_day_to_come_is_refused_and_the_ticks_stay(therapist: Browser, draft: Programme) -> None:
    address = reverse("precautions-ask", args=[draft.episode.client_id])
    answer = therapist.post(address, {"asked_on": "2999-01-01", "yes": ["seizures"]})
    shown = answer.content.decode()
    assert "Choose today or an earlier day" in shown
    assert re.search(r'value="seizures"\s+checked', shown)


def test_days_done_are_kept_and_shown_as_a_trend(therapist: Browser, held: Programme) -> None:
    address = reverse("adherence", args=[held.episode_id])
    for day, days in (("2026-02-02", 3), ("2026-02-09", 6)):
        therapist.post(address, {"recorded_on": day, "days_done": days, "hard": [17]})
    record = AdherenceRecord.objects.last()
    assert record is not None
    assert record.hard_steps == [{"number": 17, "place": steps_of(held.steps)[16].place}]
    shown = therapist.get(reverse("programmes", args=[held.episode_id])).content.decode()
    assert "visit by visit: 3, 6" in shown


@pytest.mark.parametrize("days", ["8", "-1", "", "many"])
def test_days_outside_the_week_are_refused_and_the_note_stays(
    therapist: Browser, held: Programme, days: str
) -> None:
    address = reverse("adherence", args=[held.episode_id])
    answer = therapist.post(
        address, {"recorded_on": "2026-02-02", "days_done": days, "note": "Was away"}
    )
    assert answer.status_code == 200
    assert "Was away" in answer.content.decode()
    assert not AdherenceRecord.objects.exists()


def test_only_the_lead_edits_the_list_of_exercises(therapist: Browser, lead: Browser) -> None:
    one = ClinicExercise.objects.first()
    assert one is not None
    assert therapist.get(reverse("exercises")).status_code == 200
    assert therapist.get(reverse("exercise-edit", args=[one.pk])).status_code == 403
    sent = {
        "name": "March on the spot",
        "how": "Lift each knee.",
        "dose": "1 minute",
        "suits": "leg",
    }
    lead.post(reverse("exercise-new"), sent | {"is_offered": "on"})
    assert ClinicExercise.objects.filter(name="March on the spot").exists()
    again = lead.post(reverse("exercise-new"), sent | {"name": "march on the SPOT"})
    assert "Another exercise on the list has this name" in again.content.decode()
    assert "march on the SPOT" in again.content.decode()


def test_a_given_sheet_keeps_its_exercises_when_the_list_changes(cast: Cast, lead: Browser) -> None:
    draft = begin_programme(episode=leg_episode(cast.therapist), by=cast.therapist)
    given = issue_programme(programme=draft, revision=0, by=cast.therapist)
    before = given.exercises
    ClinicExercise.objects.all().delete()
    given.refresh_from_db()
    assert given.exercises == before
