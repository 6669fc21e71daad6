"""What a letter says of an intensive phase's plateau, and that older letters still open."""

import json
from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from clinic.clients.models import Episode, PhaseChange
from clinic.common.vocabulary import Phase, Side
from clinic.letters.compile import LETTER_METHOD, Occasion, progress_summary
from clinic.letters.models import ProgressLetter
from clinic.letters.summary import SUMMARY_VERSION, Plateau, ProgressSummary, as_json
from clinic.letters.wording import plateau_sentences, proposals
from measurements.models import GirthSession
from measurements.selectors.reports import episode_course
from tests.builders import ARM_OTHER_CM, ARM_SWOLLEN_CM, make_protocol, make_session
from tests.cast import Cast
from tests.clinic.letters.stories import arm_episode, days_ago, make_practice, wider
from tests.clinic.letters.test_wording import arm, summary
from tests.measurements.decongested import SESSION_DAYS, decongested

THIN = "\N{NARROW NO-BREAK SPACE}"  # between a number and its unit

REACHED = Plateau(
    side=Side.RIGHT,
    is_excess=True,
    ended_on=None,
    value_ml=210.4,
    low_ml=159.6,
    high_ml=260.3,
    within_on=date(2026, 2, 20),
    is_reached=True,
)
UNKNOWN = replace(
    REACHED, value_ml=None, low_ml=None, high_ml=None, within_on=None, is_reached=False
)


def told(plateau: Plateau, **differences: object) -> str:
    numbers = replace(arm(220, 600, 300), plateaus=(plateau,))
    return " ".join(plateau_sentences(summary(numbers, **differences))).replace(THIN, " ")


def test_a_plateau_is_one_short_sentence_with_its_interval_and_day() -> None:
    assert told(REACHED) == (
        "The excess of the right arm has settled near an estimated 210 mL (95 % range 160 to"
        " 260 mL), steady within measurement error since about 20 Feb 2026."
    )


def test_a_plateau_still_ahead_is_expected() -> None:
    ahead = replace(REACHED, is_reached=False, within_on=date(2026, 3, 20))
    assert "is approaching an estimated 210 mL" in told(ahead)
    assert told(ahead).endswith("260 mL), expected to be steady from about 20 Mar 2026.")
    ended = replace(ahead, ended_on=date(2026, 3, 1))
    assert told(ended).endswith("260 mL), not yet steady at the phase's end.")


def test_a_limb_without_comparison_is_told_by_its_volume() -> None:
    own = replace(REACHED, is_excess=False)
    assert told(own).startswith("The volume of the right arm has settled near an estimated")


def test_too_early_is_said_while_the_phase_runs_and_not_after_it() -> None:
    said = "The excess of the right arm: too early to tell where it will settle."
    assert told(UNKNOWN) == said
    assert told(replace(UNKNOWN, ended_on=date(2026, 3, 1)), phase=Phase.MAINTENANCE) == ""


def test_the_plan_carries_the_sentence() -> None:
    plan = proposals(summary(replace(arm(220, 600, 300), plateaus=(REACHED,)))).plan
    assert plan.startswith("The volume has levelled off: garments and maintenance")
    assert "has settled near an estimated 210" in plan
    ahead = replace(REACHED, is_reached=False)
    for plateaus_told in ((ahead,), (REACHED, replace(ahead, side=Side.LEFT))):
        plan = proposals(summary(replace(arm(220, 600, 300), plateaus=plateaus_told))).plan
        assert plan.startswith("Intensive treatment continues until the swelling is steady")
    assert "Next measurement due by" in plan


def test_a_volume_that_rises_is_not_said_to_have_levelled_off() -> None:
    rising = replace(arm(500, 600, 300), plateaus=(REACHED,))
    plan = proposals(summary(rising)).plan
    assert plan.startswith("Intensive treatment continues until the swelling is steady")
    assert "Because of the rise" in plan
    assert "settled" not in plan


# Compiled from the record


@pytest.fixture
def episode(cast: Cast) -> Episode:
    make_practice()
    found = arm_episode(cast.therapist, opened_on=days_ago(30))
    decongested(found, make_protocol(), first_on=days_ago(30))
    return found


def compiled(episode: Episode, *, days_before: int = 0, long: int = 60) -> ProgressSummary:
    to_on = days_ago(days_before)
    occasion = Occasion(
        episode.referrer,
        to_on - timedelta(days=long),
        to_on,
        timezone.localdate(),
        episode.therapist,
    )
    return progress_summary(Episode.objects.get(pk=episode.pk), occasion)


def end_phase(episode: Episode, days: int) -> None:
    PhaseChange.objects.create(
        episode=episode,
        phase=Phase.MAINTENANCE,
        since_on=days_ago(days),
        reason="plateau",
        by=episode.therapist,
    )


def plateaus(summary: ProgressSummary) -> tuple[Plateau, ...]:
    return summary.limbs[0].plateaus


def test_a_letter_takes_the_plateau_of_the_course_page(episode: Episode) -> None:
    (plateau,) = plateaus(compiled(episode))
    (course,) = episode_course(Episode.objects.get(pk=episode.pk))
    assert course.told_excess
    assert plateau.value_ml == course.told_excess.plateau_ml
    assert plateau.within_on == course.told_excess.within_on
    assert plateau.is_reached


def test_a_letter_over_a_past_period_knows_nothing_taped_since(episode: Episode) -> None:
    later = compiled(episode, days_before=30 - SESSION_DAYS[8])
    GirthSession.objects.filter(taken_on__gt=later.period_to).update(
        struck_at=timezone.now(), struck_by=episode.therapist, struck_reason="never taped"
    )
    assert plateaus(later) == plateaus(compiled(episode, days_before=30 - SESSION_DAYS[8])) != ()


def test_a_letter_over_a_past_period_does_not_know_that_the_phase_ended_since(
    episode: Episode,
) -> None:
    end_phase(episode, 3)
    (plateau,) = plateaus(compiled(episode, days_before=5))
    assert plateau.is_reached
    assert plateau.ended_on is None


def test_another_way_of_taping_after_the_period_hides_nothing_of_it(
    episode: Episode, cast: Cast
) -> None:
    period_to = days_ago(5)
    elsewhere = make_protocol(name="From the elbow", start_landmark="elbow crease")
    make_session(episode, elsewhere, taken_on=days_ago(1))
    assert compiled(episode, days_before=5).limbs[0].now.taken_on <= period_to


def test_a_sudden_rise_looked_at_since_the_period_is_not_for_today(
    episode: Episode, cast: Cast
) -> None:
    protocol = episode.girth_sessions.first().protocol
    make_session(episode, protocol, taken_on=days_ago(8), right_cm=wider(ARM_SWOLLEN_CM, 4))
    assert compiled(episode, days_before=5).limbs[0].rose_suddenly
    make_session(episode, protocol, taken_on=days_ago(2), right_cm=ARM_SWOLLEN_CM)
    assert not compiled(episode, days_before=5).limbs[0].rose_suddenly


def test_both_limbs_are_said_to_have_risen_until_they_are_taped_again(episode: Episode) -> None:
    protocol = episode.girth_sessions.first().protocol
    both = {"left_cm": wider(ARM_OTHER_CM, 2), "right_cm": wider(ARM_SWOLLEN_CM, 2)}
    make_session(episode, protocol, taken_on=days_ago(8), **both)
    assert compiled(episode, days_before=5).limbs[0].both_rose
    make_session(episode, protocol, taken_on=days_ago(2), **both)
    assert not compiled(episode, days_before=5).limbs[0].both_rose


def test_a_phase_that_just_ended_is_told_in_the_past_tense(episode: Episode) -> None:
    end_phase(episode, 5)
    (plateau,) = plateaus(compiled(episode))
    assert plateau.ended_on == days_ago(5)
    assert "approached an estimated" in proposals(compiled(episode)).plan


def test_a_phase_that_ended_before_the_period_is_left_out(episode: Episode) -> None:
    end_phase(episode, 8)
    assert plateaus(compiled(episode, long=3)) == ()


def test_a_summary_with_a_plateau_is_kept_as_json(episode: Episode) -> None:
    kept = json.loads(json.dumps(as_json(compiled(episode))))
    assert kept["version"] == SUMMARY_VERSION >= 2
    assert kept["method"] == LETTER_METHOD
    assert kept["limbs"][0]["plateaus"][0]["side"] == "right"


def test_a_letter_stored_before_plateaus_were_told_still_opens(
    episode: Episode, cast: Cast
) -> None:
    old = as_json(compiled(episode, days_before=15))
    old["version"] = 1
    for numbers in old["limbs"]:
        del numbers["plateaus"]
    letter = ProgressLetter.objects.create(
        episode=episode,
        referrer=episode.referrer,
        period_from=days_ago(30),
        period_to=days_ago(15),
        bottom_line="Better: the excess of the right arm fell.",
        compiled_by=cast.therapist,
        approved_by=cast.therapist,
        approved_at=timezone.now(),
        summary=old,
        method="letter 1; truncated cones between girths, version 1",
        pdf=b"%PDF-1.7 as sent",
        pdf_sha256="0" * 64,
    )
    browser = Browser()
    browser.force_login(cast.therapist)
    assert browser.get(reverse("letter", args=[letter.pk])).status_code == 200
    sent = browser.get(reverse("letter-pdf", args=[letter.pk]))
    assert sent.content == b"%PDF-1.7 as sent"
    # The next letter still finds the session that the old one called "now".
    since = compiled(episode).limbs[0].last
    assert since
    assert since.session_id == old["limbs"][0]["now"]["session_id"]
