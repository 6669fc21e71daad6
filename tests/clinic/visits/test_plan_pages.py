"""The pages of plans of care: reading, signing, certifying, ending, and the goals reviewed."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.audit.models import Entry
from clinic.clients.models import Episode
from clinic.visits.goal_measures import judged_as
from clinic.visits.plans import GoalReview
from clinic.visits.selectors.plan_sheets import digest_of
from clinic.visits.services import plans as keeping
from tests.builders import today
from tests.cast import Cast
from tests.clinic.visits.plan_pages import EXCESS, page, written
from tests.clinic.visits.plan_stories import (
    arm_episode,
    certified,
    days_ago,
    draft,
    excess_goal,
    signed,
    taped_episode,
    treated,
)

pytestmark = pytest.mark.django_db

NAMES = ["plan", "plan-edit", "plan-discard", "plan-sign", "plan-certify", "plan-end", "plan-print"]


@pytest.fixture(autouse=True)
def _quick_print(monkeypatch: pytest.MonkeyPatch) -> None:
    """The page is laid out in test_plan_pdf; here it would cost a second a test."""
    monkeypatch.setattr(keeping, "check_fits", lambda sheet: None)


# Reading


def test_an_episode_without_a_plan_says_what_to_do(therapist: Browser, cast: Cast) -> None:
    episode = arm_episode(cast.therapist)
    text = page(therapist, "plans", episode.pk)
    assert "No plan of care yet" in text
    assert reverse("plan-new", args=[episode.pk]) in text


def test_the_page_shows_what_is_in_force_its_goals_and_their_standing(
    therapist: Browser, cast: Cast
) -> None:
    plan = certified(taped_episode(cast.therapist))
    text = page(therapist, "plans", plan.episode_id)
    assert "<b>In force</b>" in text
    assert "Odile Farrow, MD" in text
    # From 18 % to 20 %: two percent of an arm is what the tape itself may err by.
    assert "Away from the target, within measurement error" in text
    assert "of the way" not in text
    assert Entry.objects.filter(verb="plan.seen").count() == 1


def test_progress_beyond_error_is_told_in_percent(therapist: Browser, cast: Cast) -> None:
    goal = excess_goal(baseline=Decimal(40))
    plan = signed(taped_episode(cast.therapist), goals=(goal,))
    text = page(therapist, "plan", plan.pk)
    assert "Towards the target, beyond measurement error" in text
    # From 40 to 20.0 % on the way to 10 %: (40 - 19.97) / 30 of the published excess is 67 %.
    assert "67\N{NARROW NO-BREAK SPACE}% of the way" in text


def test_a_plan_that_waits_too_long_for_its_certification_says_so(
    therapist: Browser, cast: Cast
) -> None:
    plan = signed(arm_episode(cast.therapist), from_on=days_ago(31), to_on=today())
    text = page(therapist, "plan", plan.pk)
    assert (
        '<p class="notice notice-error">The time to have the plan of care certified is over.'
        in text
    )


def test_a_report_due_is_a_notice_on_the_plan(therapist: Browser, cast: Cast) -> None:
    plan = certified(arm_episode(cast.therapist), from_on=days_ago(20))
    for days in range(10):
        treated(plan.episode, days_ago(days))
    text = page(therapist, "plan", plan.pk)
    assert "A progress report is due with this treatment day." in text


def test_the_front_desk_sees_no_plan(desk: Browser, cast: Cast) -> None:
    plan = signed(arm_episode(cast.therapist))
    goal = plan.goals.all()[0]
    addresses = [reverse(name, args=[plan.pk]) for name in NAMES]
    addresses += [reverse(name, args=[plan.episode_id]) for name in ("plans", "plan-new")]
    addresses.append(reverse("goal-review", args=[goal.pk]))
    for address in addresses:
        assert desk.get(address).status_code == 403, address
        assert desk.post(address).status_code == 403, address


@pytest.mark.parametrize("name", ["plan", "plan-print"])
def test_reading_pages_refuse_a_post(therapist: Browser, cast: Cast, name: str) -> None:
    plan = signed(arm_episode(cast.therapist))
    assert therapist.post(reverse(name, args=[plan.pk])).status_code == 405


@pytest.mark.parametrize(
    "name", ["plan-edit", "plan-discard", "plan-sign", "plan-certify", "plan-end"]
)
def test_writing_pages_refuse_a_delete(therapist: Browser, cast: Cast, name: str) -> None:
    plan = draft(arm_episode(cast.therapist))
    assert therapist.delete(reverse(name, args=[plan.pk])).status_code == 405


# Paper


def test_signing_shows_the_whole_plan_and_seals_it(therapist: Browser, cast: Cast) -> None:
    plan = draft(arm_episode(cast.therapist))
    text = page(therapist, "plan-sign", plan.pk)
    assert plan.treatment in text
    assert excess_goal().text in text
    assert "Sign as Theo Marsh, PT, DPT" in text
    response = therapist.post(reverse("plan-sign", args=[plan.pk]), {"seen": digest_of(plan)})
    assert response.url == reverse("plan", args=[plan.pk])
    plan.refresh_from_db()
    assert plan.signed_at


@pytest.mark.parametrize(
    ("seen", "said"),
    [
        ("", "This field is required."),
        ("f" * 64, "Nothing is saved yet: somebody changed this plan"),
    ],
)
def test_signing_something_else_than_was_looked_at_is_refused(
    therapist: Browser, cast: Cast, seen: str, said: str
) -> None:
    plan = draft(arm_episode(cast.therapist))
    response = therapist.post(reverse("plan-sign", args=[plan.pk]), {"seen": seen})
    assert response.status_code == 200
    assert f'<p class="notice notice-error" role="alert">{said}' in response.content.decode()
    plan.refresh_from_db()
    assert plan.signed_at is None


def test_signing_without_a_goal_says_why_not(therapist: Browser, cast: Cast) -> None:
    plan = draft(arm_episode(cast.therapist), goals=())
    said = {"seen": digest_of(plan)}
    text = therapist.post(reverse("plan-sign", args=[plan.pk]), said).content.decode()
    assert "A plan without a goal is not signed." in text


@pytest.mark.parametrize(
    ("on", "said"),
    [
        (days_ago(1), "it cannot have come back earlier"),
        (today() + timedelta(days=1), "This day is still to come"),
    ],
)
def test_a_certification_on_a_day_that_cannot_be_keeps_the_name(
    therapist: Browser, cast: Cast, on: date, said: str
) -> None:
    plan = signed(arm_episode(cast.therapist))
    form = {"certified_by": "Odile Farrow, MD", "certified_on": written(on)}
    text = therapist.post(reverse("plan-certify", args=[plan.pk]), form).content.decode()
    assert said in text
    assert "Odile Farrow, MD" in text
    plan.refresh_from_db()
    assert plan.certified_on is None


def test_the_certification_of_a_draft_is_refused(therapist: Browser, cast: Cast) -> None:
    plan = draft(arm_episode(cast.therapist))
    response = therapist.get(reverse("plan-certify", args=[plan.pk]), follow=True)
    assert "This plan is not signed yet" in response.content.decode()


def test_name_and_date_are_noted(therapist: Browser, cast: Cast) -> None:
    plan = signed(arm_episode(cast.therapist))
    page(therapist, "plan-certify", plan.pk)
    form = {"certified_by": "Odile Farrow, MD", "certified_on": written(today())}
    therapist.post(reverse("plan-certify", args=[plan.pk]), form)
    plan.refresh_from_db()
    assert plan.certified_by == "Odile Farrow, MD"


def test_a_plan_is_ended(therapist: Browser, cast: Cast) -> None:
    plan = signed(arm_episode(cast.therapist))
    page(therapist, "plan-end", plan.pk)
    therapist.post(reverse("plan-end", args=[plan.pk]), {"ended_on": written(today())})
    plan.refresh_from_db()
    assert plan.ended_on == today()


# Goals


def test_a_review_offers_the_measured_value_and_keeps_what_the_therapist_says(
    therapist: Browser, cast: Cast
) -> None:
    goal = signed(taped_episode(cast.therapist)).goals.all()[0]
    text = page(therapist, "goal-review", goal.pk)
    assert f'name="value" value="{EXCESS}"' in text
    form = {"status": "partly", "value": EXCESS, "reviewed_on": written(today()), "remark": "Slow"}
    therapist.post(reverse("goal-review", args=[goal.pk]), form)
    kept = GoalReview.objects.get()
    assert (kept.status, kept.value, kept.remark) == ("partly", Decimal(EXCESS), "Slow")


@pytest.mark.parametrize(
    ("differences", "said"),
    [
        ({"reviewed_on": written(today() + timedelta(days=1))}, "This day is still to come"),
        ({"value": "9999"}, "This cannot be right"),
        ({"status": "dropped", "remark": ""}, "why the goal is dropped"),
    ],
)
def test_a_bad_review_keeps_what_was_typed(
    therapist: Browser, cast: Cast, differences: dict[str, str], said: str
) -> None:
    goal = signed(arm_episode(cast.therapist)).goals.all()[0]
    form = {"status": "met", "value": "9", "reviewed_on": written(today()), "remark": "So she says"}
    response = therapist.post(reverse("goal-review", args=[goal.pk]), form | differences)
    text = response.content.decode()
    assert said in text
    assert (form | differences)["value"] in text
    assert not GoalReview.objects.exists()


def test_a_goal_that_the_record_does_not_measure_is_asked_for(
    therapist: Browser, cast: Cast
) -> None:
    plan = signed(arm_episode(cast.therapist), goals=(excess_goal(judged=judged_as("excess_ml")),))
    text = page(therapist, "goal-review", plan.goals.get().pk)
    assert "Type the value." in text


def test_an_unknown_goal_or_plan_is_not_found(therapist: Browser, cast: Cast) -> None:
    other: Episode = arm_episode(cast.therapist)
    assert therapist.get(reverse("goal-review", args=[987654])).status_code == 404
    assert therapist.get(reverse("plan", args=[other.pk])).status_code == 404
