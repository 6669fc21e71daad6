"""Each story is told of the course it belongs to, and of none beside it.

The limit of a change between two looks with a standard error of 20 mL each is
1.96 x sqrt(20^2 + 20^2) = 55.44 mL (error propagation of independent errors, as in the worked
examples of the measurement reference). Which stories there are: common practice, no source.
"""

from dataclasses import replace
from datetime import timedelta

import pytest

from clinic.common.vocabulary import Phase, Precaution, Side
from clinic.letters.clauses import News, clauses
from clinic.letters.kinds import LetterKind
from clinic.letters.story import GAP, has_news, story_of
from clinic.letters.story_words import Story
from clinic.letters.summary import Measured, Plateau, PrecautionOpen
from clinic.letters.wording import BOTTOM_LINE_LENGTH, bottom_line, plan_text, request_text
from tests.clinic.letters.test_wording import BASELINE_ON, LAST_ON, NOW_ON, arm, look, summary

WITHIN, BEYOND = 55.4, 55.5
WATCHED = {"phase": Phase.SURVEILLANCE, "phase_before": Phase.SURVEILLANCE}
KEPT = {"phase": Phase.MAINTENANCE, "phase_before": Phase.MAINTENANCE, "last_letter_on": LAST_ON}
INFECTION = PrecautionOpen(Precaution.UNTREATED_INFECTION, NOW_ON, True)
LEVEL = Plateau(
    side=Side.RIGHT,
    is_excess=True,
    ended_on=None,
    value_ml=300.0,
    low_ml=280.0,
    high_ml=320.0,
    within_on=LAST_ON,
    is_reached=True,
)


def story(numbers, **differences: object) -> Story:
    return story_of(summary(numbers, **differences))


@pytest.mark.parametrize(
    ("rise_ml", "told"), [(WITHIN, Story.STEADY), (BEYOND, Story.EARLY_DETECTION)]
)
def test_early_detection_begins_at_the_limit_of_error(rise_ml: float, told: Story) -> None:
    assert story(arm(rise_ml, 0), **WATCHED) is told


def test_a_rise_that_creeps_up_within_error_from_look_to_look_is_found() -> None:
    crept = arm(80, 0, 40)  # 40 mL a time is within error, 80 mL since baseline is not
    assert clauses(summary(crept))[0].news is News.WORSE_THAN_BASELINE
    assert story(crept, **WATCHED) is Story.EARLY_DETECTION
    assert story(crept, **KEPT) is Story.WORSENING


def test_early_detection_is_told_once() -> None:
    told_before = arm(120, 0, 110)
    assert story(told_before, **WATCHED) is Story.STEADY


def test_treatment_begun_in_the_period_is_still_early_detection() -> None:
    begun = {"phase": Phase.INTENSIVE, "phase_before": Phase.SURVEILLANCE}
    assert story(arm(150, 0), **begun) is Story.EARLY_DETECTION
    treated_before = {"phase": Phase.INTENSIVE, "phase_before": Phase.INTENSIVE}
    assert story(arm(150, 0), **treated_before) is Story.WORSENING


def test_early_detection_says_how_often_it_was_seen() -> None:
    seen_once = summary(arm(150, 0), **WATCHED)
    assert bottom_line(seen_once).startswith(
        "Possible early swelling at a routine check (seen once so far): the excess"
    )
    numbers = arm(150, 0)
    between = look("between", LAST_ON, 140)
    points = (numbers.points[0], between, numbers.now)
    seen_twice = summary(replace(numbers, points=points), **WATCHED)
    assert bottom_line(seen_twice).startswith(
        "Early swelling found at a routine check (seen twice in a row): the excess"
    )


def not_measured_since(numbers):
    """The same limb when the last letter called its latest session "now"."""
    return replace(numbers, last=numbers.now)


@pytest.mark.parametrize("then", [WATCHED, KEPT])
@pytest.mark.parametrize("now_ml", [150, 500])
def test_a_limb_not_measured_since_the_last_letter_is_no_news(
    now_ml: float, then: dict[str, object]
) -> None:
    told = not_measured_since(arm(now_ml, 300))
    told = replace(told, baseline=look("baseline", BASELINE_ON, 0 if now_ml == 150 else 900))
    later = then | {"last_letter_on": LAST_ON, "measured_count": 0}
    assert story(told, **later) is Story.STEADY
    assert not has_news(summary(told, **later | {"phase_since_on": BASELINE_ON}))
    line = bottom_line(summary(told, **later))
    assert line.startswith("Not measured in this period. ")
    assert " on 5 Mar 2026: the excess volume" in line


def test_both_limbs_larger_at_once_are_not_called_swelling() -> None:
    """Without a sound limb to compare, weight or the heart may have made both larger."""
    grown = replace(
        arm(0, 0),
        affected_side=None,
        is_bilateral=True,
        now=replace(look("now", NOW_ON, 0), left=Measured(2200, 17), right=Measured(2200, 18)),
    )
    both = summary(grown, **WATCHED)
    assert story_of(both) is Story.EARLY_DETECTION
    assert bottom_line(both).startswith("Both arms found larger at a routine check (seen once")
    one = replace(grown, now=replace(grown.now, left=Measured(2000, 17)))
    assert bottom_line(summary(one, **WATCHED)).startswith("Possible early swelling at a")


@pytest.mark.parametrize(
    ("change_ml", "told"),
    [
        (-BEYOND, Story.GOOD_RESPONSE),
        (-WITHIN, Story.STEADY),
        (WITHIN, Story.STEADY),
        (BEYOND, Story.WORSENING),
    ],
)
def test_better_and_worse_begin_at_the_limit_of_error(change_ml: float, told: Story) -> None:
    assert story(arm(400 + change_ml, 400, 400), **KEPT) is told


def test_worse_in_one_limb_outweighs_better_in_another() -> None:
    told = summary(arm(100, 400), arm(500, 400), **KEPT)
    assert story_of(told) is Story.WORSENING


def test_what_was_worse_before_and_stayed_so_is_no_news() -> None:
    assert story(arm(500, 200, 490), **KEPT) is Story.STEADY


def test_a_sudden_rise_is_worsening() -> None:
    assert story(replace(arm(420, 400, 400), rose_suddenly=True), **KEPT) is Story.WORSENING


def test_a_plateau_needs_an_intensive_phase_that_reached_it_and_no_change() -> None:
    level = replace(arm(310, 600, 305), plateaus=(LEVEL,))
    running = {"phase": Phase.INTENSIVE, "phase_before": Phase.INTENSIVE}
    assert story(level, **running) is Story.PLATEAU
    assert bottom_line(summary(level, **running)).startswith(
        "Levelled off. Unchanged since the last letter, better than at baseline: "
    )
    assert "garments and maintenance are considered next" in plan_text(summary(level, **running))
    other_side = replace(LEVEL, side=Side.LEFT, is_reached=False)
    half_way = replace(level, plateaus=(LEVEL, other_side))
    assert story(half_way, **running) is Story.STEADY
    on_the_way = replace(level, plateaus=(replace(LEVEL, is_reached=False),))
    assert story(on_the_way, **running) is Story.STEADY
    assert story(level, **KEPT) is Story.STEADY
    falling = replace(arm(310, 600, 500), plateaus=(LEVEL,))
    assert story(falling, **running) is Story.GOOD_RESPONSE


@pytest.mark.parametrize(
    ("silent", "told"), [(GAP, Story.STEADY), (GAP + timedelta(days=1), Story.INTERRUPTION)]
)
def test_an_intensive_phase_is_interrupted_after_more_than_two_weeks(
    silent: timedelta, told: Story
) -> None:
    numbers = arm(400, 400, 400)
    late = {"phase": Phase.INTENSIVE, "period_to": NOW_ON + silent}
    assert story(numbers, **late) is told
    assert story(numbers, **KEPT | {"period_to": NOW_ON + silent}) is Story.STEADY


def test_a_letter_about_a_client_who_stopped_coming_says_so_and_asks_why() -> None:
    late = {"phase": Phase.INTENSIVE, "period_to": NOW_ON + 2 * GAP, "measured_count": 0}
    gone = summary(arm(200, 400), **late)
    line = bottom_line(gone)
    assert line.startswith(
        "Treatment interrupted: no visit on record between 5 Mar 2026 and 2 Apr 2026. Better on"
        " 5 Mar 2026: the excess volume"
    )
    assert line.endswith("Please see below what we ask of you.")
    assert request_text(gone) == (
        "Please tell us if you know why treatment stopped, and ask the client to call us."
    )
    seen_since = summary(arm(200, 400), **late, seen_on=NOW_ON + timedelta(days=2))
    assert "no visit on record between 7 Mar 2026 and" in bottom_line(seen_since)


def test_the_plan_of_an_interrupted_phase_does_not_say_that_it_continues() -> None:
    late = {"phase": Phase.INTENSIVE, "period_to": NOW_ON + 2 * GAP}
    assert plan_text(summary(arm(400, 400, 400), **late)) == (
        "Intensive treatment goes on once the client is back and measured again."
    )


def test_a_watched_limb_that_grew_within_days_is_not_called_early() -> None:
    sudden = summary(replace(arm(400, 0), rose_suddenly=True), **WATCHED)
    assert bottom_line(sudden).startswith("Sudden swelling found at a routine check (seen once")
    assert plan_text(sudden) == (
        "Surveillance goes on once the finding in the box has been examined and settled."
    )
    assert "when treatment may go on" not in request_text(sudden)


def test_after_the_end_nobody_is_asked_when_treatment_may_go_on() -> None:
    ended = summary(arm(200, 400), phase=Phase.DISCHARGED, precautions=(INFECTION,))
    assert request_text(ended) == (
        "Please examine the client without delay and tell us what you find."
    )


def test_a_phase_that_only_just_began_is_not_interrupted() -> None:
    late = NOW_ON + 2 * GAP
    begun = {"phase": Phase.INTENSIVE, "phase_since_on": late, "period_to": late}
    assert story(arm(400, 400, 400), **begun) is Story.STEADY


def test_a_phase_with_visits_is_not_called_interrupted_for_want_of_tape() -> None:
    late = NOW_ON + 2 * GAP
    running = {"phase": Phase.INTENSIVE, "period_to": late}
    assert story(arm(400, 400, 400), **running, seen_on=late - GAP) is Story.STEADY
    stopped = late - GAP - timedelta(days=1)
    assert story(arm(400, 400, 400), **running, seen_on=stopped) is Story.INTERRUPTION


def test_what_bars_treatment_is_an_interruption_whatever_the_numbers() -> None:
    paused = summary(arm(200, 400), precautions=(INFECTION,), **KEPT)
    assert story_of(paused) is Story.INTERRUPTION
    assert bottom_line(paused).startswith(
        "Treatment is paused (untreated infection, cellulitis or fever, found 5 Mar 2026). Better: "
    )
    found_since = replace(INFECTION, found_on=NOW_ON + timedelta(days=1))
    assert "found 6 Mar 2026). Better on 5 Mar 2026: the" in bottom_line(
        summary(arm(200, 400), precautions=(found_since,), **KEPT)
    )
    port = PrecautionOpen(Precaution.DEVICE_UNDER_SKIN, NOW_ON, False)
    assert story(arm(200, 400), precautions=(port,), **KEPT) is Story.GOOD_RESPONSE


def test_an_episode_that_ended_is_a_discharge_and_still_says_worse() -> None:
    ended = {"phase": Phase.DISCHARGED, "phase_since_on": NOW_ON}
    line = bottom_line(summary(arm(500, 300), **ended))
    assert line.startswith("Treatment here ended on 5 Mar 2026. Worse: ")
    assert "has risen" in line
    assert "Please see below what we ask of you." in line


def test_at_the_end_the_whole_course_is_told_unless_it_is_worse() -> None:
    ended = {"phase": Phase.DISCHARGED, "phase_since_on": NOW_ON}
    line = bottom_line(summary(arm(200, 600, 300), **ended)).replace("\u202f", " ")
    assert line.startswith("Treatment here ended on 5 Mar 2026. Better: the excess volume")
    assert "has fallen by 400 mL since 5 Jan 2026" in line
    assert "has risen by 100 mL since the last letter" in bottom_line(
        summary(arm(300, 600, 200), **ended)
    ).replace("\u202f", " ")
    higher = bottom_line(summary(arm(300, 200, 400), **ended)).replace("\u202f", " ")
    assert "has fallen by 100 mL since the last letter (still higher than at baseline)" in higher


def test_a_first_look_is_steady_and_no_change() -> None:
    first = arm(400)
    assert story(replace(first, baseline=first.now)) is Story.STEADY


@pytest.mark.parametrize("told", list(Story))
def test_every_story_opens_a_letter_that_fits(told: Story) -> None:
    examples = {
        Story.WORSENING: summary(arm(500, 300), **KEPT),
        Story.EARLY_DETECTION: summary(arm(150, 0), **WATCHED),
        Story.INTERRUPTION: summary(arm(500, 300), precautions=(INFECTION,)),
        Story.DISCHARGE: summary(arm(200, 400), phase=Phase.DISCHARGED),
        Story.GOOD_RESPONSE: summary(arm(200, 400), **KEPT),
        Story.PLATEAU: summary(replace(arm(310, 600, 305), plateaus=(LEVEL,))),
        Story.STEADY: summary(arm(400, 400), **KEPT),
    }
    assert story_of(examples[told]) is told
    line = bottom_line(examples[told])
    assert "measurement error" in line
    assert len(line) <= BOTTOM_LINE_LENGTH


def test_other_papers_keep_to_better_same_or_worse() -> None:
    ended = summary(arm(200, 400), phase=Phase.DISCHARGED, kind=LetterKind.DISCHARGE)
    assert bottom_line(ended).startswith("Better: ")


@pytest.mark.parametrize(
    ("numbers", "differences", "has"),
    [
        (arm(400, 400, 410), KEPT | {"phase_since_on": BASELINE_ON}, False),
        (arm(400, 400, 410), KEPT | {"phase_since_on": LAST_ON}, True),
        (arm(400, 400, 410), KEPT | {"last_letter_on": None}, True),
        (arm(400, 400, 500), KEPT | {"phase_since_on": BASELINE_ON}, True),
    ],
)
def test_news_is_a_first_letter_a_new_phase_or_a_change(
    numbers, differences: dict[str, object], has: bool
) -> None:
    assert has_news(summary(numbers, **differences)) is has
