"""Pages of home programmes: each works, refuses, and keeps what was typed."""

import re
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.audit.models import Entry
from clinic.clients.models import PrecautionFound
from clinic.common.vocabulary import Precaution
from programmes.body.steps import steps_of
from programmes.models import AdherenceRecord, ClinicExercise, PrecautionReview, Programme, Standing
from programmes.services import issue as issuing
from programmes.services.drafts import begin_programme
from programmes.services.issue import issue_programme
from tests.cast import Cast
from tests.programmes.bodies import arm_episode, has, leg_episode

pytestmark = pytest.mark.django_db
HTMX = {"HTTP_HX_REQUEST": "true"}


@pytest.fixture(autouse=True)
def _quick_print(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(issuing, "handout_pdf", lambda handout: b"%PDF-1.7 stand-in")


@pytest.fixture
def draft(cast: Cast) -> Programme:
    return begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)


@pytest.fixture
def held(draft: Programme, cast: Cast) -> Programme:
    return issue_programme(programme=draft, revision=0, by=cast.therapist)


def page(programme: Programme) -> str:
    return reverse("programme", args=[programme.pk])


def fields(programme: Programme, **differences: Any) -> dict[str, Any]:
    """What the editor sends when nothing was touched."""
    sent: dict[str, Any] = {
        "revision": programme.revision,
        "times_a_day": programme.times_a_day,
        "skin_care": programme.skin_care,
        "wear_schedule": programme.wear_schedule,
        "breathing": programme.breathing,
        "stop_and_call": programme.stop_and_call,
        "exercise_ids": programme.exercise_ids,
    }
    for index, step in enumerate(steps_of(programme.steps)):
        sent[f"s{index}-repetitions"] = step.repetitions
        sent[f"s{index}-minutes"] = f"{step.minutes:.1f}"
        sent[f"s{index}-note"] = step.note
    return sent | {name.replace("__", "-"): value for name, value in differences.items()}


# From the client to a draft


def test_a_programme_begins_with_one_button(therapist: Browser, cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    overview = therapist.get(reverse("programmes", args=[episode.pk]))
    assert "New home programme" in overview.content.decode()
    answer = therapist.post(reverse("programme-new", args=[episode.pk]))
    draft = Programme.objects.get()
    assert answer.url == page(draft)
    shown = therapist.get(answer.url).content.decode()
    assert "Left armpit" in shown
    assert "Every step moves fluid only into a place cleared before" in shown


def test_beginning_twice_opens_the_draft(therapist: Browser, draft: Programme) -> None:
    answer = therapist.post(reverse("programme-new", args=[draft.episode_id]))
    assert answer.url == page(draft)


def test_begin_takes_no_get(therapist: Browser, draft: Programme) -> None:
    answer = therapist.get(reverse("programme-new", args=[draft.episode_id]))
    assert answer.status_code == 405


def test_the_front_desk_sees_nothing_of_a_programme(desk: Browser, held: Programme) -> None:
    for name in ("programme", "programme-handout", "programme-phone", "programme-issue"):
        assert desk.get(reverse(name, args=[held.pk])).status_code == 403
    assert desk.get(reverse("programmes", args=[held.episode_id])).status_code == 403
    assert desk.post(reverse("programme-new", args=[held.episode_id])).status_code == 403


def test_where_no_route_is_safe_the_page_gives_no_programme(therapist: Browser, cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    has(episode, Precaution.HEART_FAILURE, cast.therapist)
    draft = begin_programme(episode=episode, by=cast.therapist)
    shown = therapist.get(page(draft)).content.decode()
    assert "A precaution bars every manual step" in shown
    assert "may overload the heart" in shown
    assert "draft-step" not in shown.replace("draft-steps", "")


# Editing


def test_a_step_moves_without_a_script(therapist: Browser, draft: Programme) -> None:
    before = steps_of(draft.steps)
    answer = therapist.post(page(draft), fields(draft, act="move-13-14"))
    assert answer.url == f"{page(draft)}#step-15"
    draft.refresh_from_db()
    assert steps_of(draft.steps)[14].place == before[13].place


def test_a_script_gets_the_list_with_the_faults_beside_their_steps(
    therapist: Browser, draft: Programme
) -> None:
    answer = therapist.post(page(draft), fields(draft, act="remove-3"), **HTMX)
    shown = answer.content.decode()
    assert 'id="draft-steps"' in shown
    assert "<html" not in shown
    said = re.search(r'id="said-\d+"[^>]*>\s*<p class="draft-fault">([^<]+)', shown)
    assert said is not None
    assert "not prepared yet" in said.group(1)
    assert 'id="draft-revision" value="1"' in shown


def test_typing_a_count_answers_with_sentences_only(therapist: Browser, draft: Programme) -> None:
    answer = therapist.post(page(draft), fields(draft, s3__repetitions="40"), **HTMX)
    shown = answer.content.decode()
    assert answer["HX-Reswap"] == "none"
    assert "40 repetitions; the sources give 5 to 15." in shown
    assert "<li" not in shown.split("draft-summary")[0]


def test_a_note_is_kept_and_shown(therapist: Browser, draft: Programme) -> None:
    therapist.post(page(draft), fields(draft, s2__note="Softly: the port is near."))
    assert "Softly: the port is near." in therapist.get(page(draft)).content.decode()


@pytest.mark.parametrize(
    ("field", "typed", "message"),
    [
        ("s3__repetitions", "ten", "Type a whole number."),
        ("s3__minutes", "soon", "Type a number of minutes."),
        ("times_a_day", "9", "less than or equal to 4"),
        ("stop_and_call", "", "This field is required."),
    ],
)
def test_bad_input_is_told_beside_the_field_and_kept(
    therapist: Browser, draft: Programme, field: str, typed: str, message: str
) -> None:
    sent = fields(draft, skin_care="My own words", **{field: typed})
    answer = therapist.post(page(draft), sent)
    shown = answer.content.decode()
    assert answer.status_code == 422
    assert message in shown
    assert "My own words" in shown
    if typed:
        assert f'value="{typed}"' in shown
    draft.refresh_from_db()
    assert draft.revision == 0


def test_undo_brings_the_step_back(therapist: Browser, draft: Programme) -> None:
    before = steps_of(draft.steps)
    therapist.post(page(draft), fields(draft, act="remove-3"))
    therapist.post(page(draft), {"revision": 1, "do": "undo"})
    draft.refresh_from_db()
    assert steps_of(draft.steps) == before


def test_a_conflict_is_told_and_nothing_is_lost(
    therapist: Browser, draft: Programme, cast: Cast, signed_in: Any
) -> None:
    sent = fields(draft, s5__note="Mine", skin_care="My skin care")
    signed_in(cast.other_therapist).post(page(draft), fields(draft, act="remove-3"))
    answer = therapist.post(page(draft), sent, **HTMX)
    shown = answer.content.decode()
    assert answer.status_code == 422
    assert "Tilda Brook changed this draft" in shown
    assert "Mine" in shown
    therapist.post(page(draft), sent | {"force": "1"})
    draft.refresh_from_db()
    assert steps_of(draft.steps)[5].note == "Mine"
    assert draft.skin_care == "My skin care"
    therapist.post(page(draft), {"revision": draft.revision, "do": "undo"})
    draft.refresh_from_db()
    assert len(draft.steps) == 27


@pytest.mark.parametrize("act", ["move-3-99", "remove-99", "explode-3", "move-x-y"])
def test_a_meddled_act_breaks_nothing(therapist: Browser, draft: Programme, act: str) -> None:
    assert therapist.post(page(draft), fields(draft, act=act)).status_code in (302, 422)
    draft.refresh_from_db()
    assert len(draft.steps) == 28


def test_the_clinician_sets_a_basin_and_the_plan_follows(
    therapist: Browser, draft: Programme
) -> None:
    answer = therapist.post(
        reverse("programme-ground", args=[draft.pk]),
        {"revision": 0, "basin_axilla_left": "working"},
    )
    assert answer.url == page(draft)
    draft.refresh_from_db()
    assert draft.choices["working"] == [["axilla", "left"]]
    assert "is set to working by the clinician" in therapist.get(page(draft)).content.decode()


def test_a_clearance_needs_name_and_date(therapist: Browser, cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    has(episode, Precaution.CHEMOTHERAPY, cast.therapist)
    draft = begin_programme(episode=episode, by=cast.therapist)
    ground = reverse("programme-ground", args=[draft.pk])
    answer = therapist.post(ground, {"revision": 0, "by_chemotherapy": "Dr. Farrow"})
    assert "Give both: who cleared it, and when." in answer.content.decode()
    assert 'value="Dr. Farrow"' in answer.content.decode()
    therapist.post(
        ground, {"revision": 0, "by_chemotherapy": "Dr. Farrow", "on_chemotherapy": "2026-01-20"}
    )
    draft.refresh_from_db()
    assert len(draft.steps) == 28


def test_a_draft_is_discarded_after_asking(therapist: Browser, draft: Programme) -> None:
    address = reverse("programme-discard", args=[draft.pk])
    assert "Discard this draft?" in therapist.get(address).content.decode()
    therapist.post(address)
    assert not Programme.objects.exists()


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


def test_the_editor_takes_a_fixed_number_of_queries(
    therapist: Browser, draft: Programme, django_assert_max_num_queries: Any
) -> None:
    with django_assert_max_num_queries(30):
        therapist.get(page(draft))
