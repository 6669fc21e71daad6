"""The page of a draft: it begins with a button, is edited, refuses, and keeps what was typed."""

import re
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.common.vocabulary import Precaution
from programmes.body.steps import steps_of
from programmes.models import Programme
from programmes.services.drafts import begin_programme
from tests.cast import Cast
from tests.programmes.bodies import arm_episode, has
from tests.programmes.editor import HTMX, fields, page

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("quick_print")]


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


def test_the_editor_takes_a_fixed_number_of_queries(
    therapist: Browser, draft: Programme, django_assert_max_num_queries: Any
) -> None:
    with django_assert_max_num_queries(30):
        therapist.get(page(draft))
