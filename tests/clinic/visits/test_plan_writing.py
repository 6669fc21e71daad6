"""Writing a plan of care: what is typed is kept, named where it is wrong, and never lost."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.visits.plans import GoalReview, PlanOfCare
from clinic.visits.selectors.plan_sheets import digest_of
from clinic.visits.services import plans as keeping
from tests.builders import today
from tests.cast import Cast
from tests.clinic.visits.plan_pages import EXCESS, page, posted, written
from tests.clinic.visits.plan_stories import (
    arm_episode,
    draft,
    excess_goal,
    signed,
    taped_episode,
    typed,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _quick_print(monkeypatch: pytest.MonkeyPatch) -> None:
    """The page is laid out in test_plan_pdf; here it would cost a second a test."""
    monkeypatch.setattr(keeping, "check_fits", lambda sheet: None)


def test_a_new_plan_begins_today_for_one_certification_with_the_measured_baseline(
    therapist: Browser, cast: Cast
) -> None:
    episode = taped_episode(cast.therapist)
    text = page(therapist, "plan-new", episode.pk)
    assert f'value="{written(today())}"' in text
    assert f'value="{written(today() + timedelta(days=89))}"' in text
    assert '<option value="excess_percent" selected>' in text
    assert f'name="goals-0-baseline" value="{EXCESS}"' in text


def test_what_is_typed_becomes_a_draft(therapist: Browser, cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    response = therapist.post(reverse("plan-new", args=[episode.pk]), posted())
    plan = PlanOfCare.objects.get()
    assert response.url == reverse("plan", args=[plan.pk])
    goal = plan.goals.get()
    assert (goal.measure, goal.baseline, goal.target) == (
        "excess_percent",
        Decimal(18),
        Decimal(10),
    )


def test_an_empty_baseline_is_the_latest_measured_value(therapist: Browser, cast: Cast) -> None:
    episode = taped_episode(cast.therapist)
    said = posted(**{"goals-0-baseline": ""})
    therapist.post(reverse("plan-new", args=[episode.pk]), said)
    assert PlanOfCare.objects.get().goals.get().baseline == Decimal(EXCESS)


def test_a_score_is_kept_with_side_and_movement(therapist: Browser, cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    said = {
        "goals-1-text": "Reaches a shelf",
        "goals-1-judged": "score:shoulder:right:flexion",
        "goals-1-baseline": "120",
        "goals-1-target": "155",
        "goals-1-due_on": written(today() + timedelta(weeks=6)),
    }
    therapist.post(reverse("plan-new", args=[episode.pk]), posted(**said))
    goal = PlanOfCare.objects.get().goals.all()[1]
    assert (goal.measure, goal.instrument) == ("score", "shoulder:right:flexion")


@pytest.mark.parametrize(
    ("differences", "said"),
    [
        ({"goals-0-target": "18"}, "The target is the baseline itself"),
        ({"goals-0-target": ""}, "A measured goal needs a number to reach"),
        ({"goals-0-target": "4000"}, "expected is -90 to 400 %"),
        ({"goals-0-due_on": "4 Mar 2001"}, "The period begins on"),
        ({"goals-0-due_on": ""}, "Type the day it should be met by."),
        ({"goals-0-judged": ""}, "Choose."),
        ({"goals-1-target": "5"}, "Say what this target is for"),
        (
            {"to_on": written(today() + timedelta(days=90))},
            "one certification covers 90 at the most",
        ),
        ({"to_on": written(today())}, "Choose a later day."),
        ({"from_on": "4 Mar 2001"}, "The episode was opened on"),
        ({"from_on": "soon"}, "This is not a day"),
        ({"weeks": "53"}, "less than or equal to 52"),
        ({"treatment": ""}, "This field is required"),
    ],
)
def test_bad_input_is_named_and_what_was_typed_stays(
    therapist: Browser, cast: Cast, differences: dict[str, str], said: str
) -> None:
    episode = arm_episode(cast.therapist)
    response = therapist.post(reverse("plan-new", args=[episode.pk]), posted(**differences))
    text = response.content.decode()
    assert response.status_code == 200
    assert said in text
    assert "Arm excess under 10 %" in text
    for typed_text in differences.values():
        assert typed_text in text
    assert not PlanOfCare.objects.exists()


def test_a_second_draft_leads_to_the_first(therapist: Browser, cast: Cast) -> None:
    plan = draft(arm_episode(cast.therapist))
    address = reverse("plan-new", args=[plan.episode_id])
    assert therapist.get(address).url == reverse("plan", args=[plan.pk])
    response = therapist.post(address, posted())
    assert "has a draft of the next plan already" in response.content.decode()
    assert "Bandaging and drainage by hand." in response.content.decode()


def test_an_edit_is_kept(therapist: Browser, cast: Cast) -> None:
    plan = draft(arm_episode(cast.therapist))
    page(therapist, "plan-edit", plan.pk)
    said = posted(seen=digest_of(plan), weeks="6")
    response = therapist.post(reverse("plan-edit", args=[plan.pk]), said)
    assert response.status_code == 302
    plan.refresh_from_db()
    assert plan.weeks == 6


def test_an_edit_upon_an_older_draft_keeps_what_was_typed_and_may_be_sent_again(
    therapist: Browser, cast: Cast
) -> None:
    plan = draft(arm_episode(cast.therapist))
    seen = digest_of(plan)
    keeping.edit_plan(plan=plan, typed=typed(weeks=9), seen=seen, by=cast.lead)
    address = reverse("plan-edit", args=[plan.pk])
    text = therapist.post(address, posted(seen=seen, weeks="7")).content.decode()
    assert "somebody changed this plan" in text
    assert "Bandaging and drainage by hand." in text
    now = digest_of(PlanOfCare.objects.get())
    assert f'value="{now}"' in text
    assert therapist.post(address, posted(seen=now, weeks="7")).status_code == 302
    assert PlanOfCare.objects.get().weeks == 7


def test_a_signed_plan_is_not_edited(therapist: Browser, cast: Cast) -> None:
    plan = signed(arm_episode(cast.therapist))
    response = therapist.post(reverse("plan-edit", args=[plan.pk]), posted(seen="x"), follow=True)
    assert "This plan is signed and stays exactly as it is" in response.content.decode()


def test_the_next_plan_begins_with_the_open_goals(therapist: Browser, cast: Cast) -> None:
    plan = signed(arm_episode(cast.therapist))
    goal = plan.goals.all()[1]
    GoalReview.objects.create(
        goal=goal, status="met", reviewed_on=today(), reviewed_by=cast.therapist
    )
    text = page(therapist, "plan-new", plan.episode_id)
    assert excess_goal().text in text
    assert goal.text not in text
    assert plan.treatment in text


def test_a_draft_is_discarded_by_a_post(therapist: Browser, cast: Cast) -> None:
    plan = draft(arm_episode(cast.therapist))
    page(therapist, "plan-discard", plan.pk)
    therapist.post(reverse("plan-discard", args=[plan.pk]))
    assert not PlanOfCare.objects.exists()
