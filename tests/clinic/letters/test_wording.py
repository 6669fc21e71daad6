"""The sentence that matters: better, same or worse; one number; how sure; what is asked."""

from dataclasses import replace
from datetime import date

import pytest

from clinic.common.vocabulary import Limb, Phase, Precaution, Side
from clinic.letters.clauses import News, clauses
from clinic.letters.kinds import LetterKind
from clinic.letters.summary import (
    Addressee,
    Adherence,
    ClientNamed,
    Diagnosis,
    Letterhead,
    LimbNumbers,
    Look,
    Measured,
    PrecautionOpen,
    ProgressSummary,
)
from clinic.letters.wording import (
    BOTTOM_LINE_LENGTH,
    alerts,
    bottom_line,
    next_girths_on,
    proposals,
    request_text,
)

BASELINE_ON, LAST_ON, NOW_ON = date(2026, 1, 5), date(2026, 2, 5), date(2026, 3, 5)
ERROR_ML = 20.0  # of one excess: a change must pass 1.96 x sqrt(2) x 20 = 55.4 mL


def look(name: str, on: date, excess_ml: float) -> Look:
    return Look(
        session_id=name,
        taken_on=on,
        left=Measured(2000.0, 17.0),
        right=Measured(2000.0 + excess_ml, 18.0),
        excess=Measured(excess_ml, ERROR_ML),
        percent=Measured(excess_ml / 20, 1.0),
        weight_kg=70.0,
    )


def arm(now_ml: float, baseline_ml: float | None = None, last_ml: float | None = None):
    now = look("now", NOW_ON, now_ml)
    baseline = look("baseline", BASELINE_ON, baseline_ml) if baseline_ml is not None else None
    last = look("last", LAST_ON, last_ml) if last_ml is not None else None
    return LimbNumbers(
        limb=Limb.ARM,
        affected_side=Side.RIGHT,
        is_bilateral=False,
        now=now,
        last=last,
        baseline=baseline,
        points=tuple(each for each in (baseline, last, now) if each),
        protocol="Arm, 4 cm",
        start_landmark="ulnar styloid",
        from_cm=0,
        to_cm=40,
        is_shorter=False,
        rose_suddenly=False,
        cautions=(),
    )


def summary(*limbs: LimbNumbers, **differences: object) -> ProgressSummary:
    values = {
        "version": 1,
        "method": "test",
        "letterhead": Letterhead("Practice", "", "", "", "", "", "A4", "kg"),
        "addressee": Addressee("Dr. Odile Farrow", "", "", "", ""),
        "client": ClientNamed("Marguerite Ångström", date(1961, 3, 4), "T1"),
        "diagnosis": Diagnosis("I97.2", "Postmastectomy lymphedema syndrome", ()),
        "cancer_treatment": "",
        "stages": (),
        "phase": Phase.INTENSIVE,
        "phase_since_on": BASELINE_ON,
        "precautions": (),
        "limbs": limbs,
        "period_from": LAST_ON,
        "period_to": NOW_ON,
        "last_letter_on": None,
        "measured_count": 2,
        "written_on": date(2026, 3, 6),
        "signed_by": "Theo Marsh, PT",
    }
    return ProgressSummary(**values | differences)


@pytest.mark.parametrize(
    ("now_ml", "baseline_ml", "last_ml", "news"),
    [
        (200, 400, None, News.BETTER),
        (400, 200, None, News.WORSE),
        (230, 200, None, News.SAME),
        (200, 600, 400, News.BETTER),
        (400, 600, 200, News.WORSE),
        (420, 600, 400, News.BETTER_THAN_BASELINE),
        (420, 200, 400, News.WORSE_THAN_BASELINE),
        (420, 410, 400, News.SAME),
        (420, None, 400, News.SAME),
        (400, None, None, News.NO_BASELINE),
    ],
)
def test_the_news_follows_the_last_letter_unless_only_the_baseline_shows_a_change(
    now_ml: float, baseline_ml: float | None, last_ml: float | None, news: News
) -> None:
    assert [each.news for each in clauses(summary(arm(now_ml, baseline_ml, last_ml)))] == [news]


@pytest.mark.parametrize(
    ("now_ml", "baseline_ml", "news"),
    [
        (-100, 0, News.FELL_WITHOUT_EXCESS),
        (-150, -60, News.FELL_WITHOUT_EXCESS),
        (-40, 39.1, News.FELL_WITHOUT_EXCESS),  # below the limit of one look, 1.96 x 20 = 39.2 mL
        (-40, 39.3, News.BETTER),
        (-20, 400, News.BETTER),
        (-20, -150, News.WORSE),
    ],
)
def test_a_fall_of_what_was_no_excess_is_not_called_better(
    now_ml: float, baseline_ml: float, news: News
) -> None:
    told = summary(arm(now_ml, baseline_ml), phase=Phase.SURVEILLANCE)
    assert clauses(told)[0].news is news
    if news is News.FELL_WITHOUT_EXCESS:
        assert bottom_line(told).startswith(
            "Changed: the excess volume of the right arm has fallen"
        )
        assert "there was no excess beyond error before. No action needed" in bottom_line(told)


def test_a_change_is_judged_before_it_is_rounded() -> None:
    # 1.96 x sqrt(20^2 + 20^2) = 55.437 mL: both print as 55 mL, only one is beyond error.
    within, beyond = arm(255.43, 200), arm(255.44, 200)
    assert clauses(summary(within))[0].news is News.SAME
    assert clauses(summary(beyond))[0].news is News.WORSE


def test_a_change_within_error_is_never_written_as_a_number() -> None:
    line = bottom_line(summary(arm(237, 200)))
    assert line.startswith("Unchanged: the excess volume of the right arm is 237")
    assert "steady since 5 Jan 2026 within measurement error" in line
    assert "by 37" not in line.replace("\u202f", " ")


def test_a_limb_without_a_measurable_excess_is_said_to_be_like_the_other() -> None:
    line = bottom_line(summary(arm(30, 10))).replace("\u202f", " ")
    assert line.startswith(
        "Unchanged: the right arm is as large as the other within measurement error (39 mL), and"
        " steady since 5 Jan 2026."
    )


@pytest.mark.parametrize(("fallen_ml", "far"), [(110, False), (111, True)])
def test_twice_the_limit_is_far_more_than_error(fallen_ml: float, far: bool) -> None:
    """The limit of this change is 1.96 x sqrt(2) x 20 = 55.44 mL, twice of it 110.87 mL."""
    assert ("far more" in bottom_line(summary(arm(400 - fallen_ml, 400)))) is far


def test_the_sentence_names_one_number_its_error_and_whether_to_act() -> None:
    assert bottom_line(summary(arm(200, 400))).replace("\u202f", " ") == (
        "Better: the excess volume of the right arm has fallen by 200 mL since 5 Jan 2026, far more"
        " than measurement error (55 mL). No action needed from you."
    )


def test_a_fall_that_leaves_the_limb_above_its_baseline_says_so() -> None:
    assert "still higher than at baseline" in bottom_line(summary(arm(300, 100, 500)))


def test_a_first_measurement_is_no_change() -> None:
    numbers = arm(400)
    first = replace(numbers, baseline=numbers.now)
    assert bottom_line(summary(first)).startswith("First measurement: the right arm holds 400")


def test_both_sides_affected_are_each_set_against_their_own_baseline() -> None:
    numbers = arm(100, 300)
    both = replace(numbers, affected_side=None, is_bilateral=True)
    line = bottom_line(summary(both))
    assert line.startswith("Better: the volume of the right arm has fallen by 200")
    assert "the volume of the left arm is 2" in line
    assert "excess" not in line


def test_swelling_without_girths_is_named_where_nothing_else_is_swollen() -> None:
    watched = replace(arm(10, 0), is_at_risk=True)
    told = summary(watched, untaped=("left breast",))
    assert bottom_line(told).endswith(
        " 2026. Swelling not measurable by tape: left breast. No action needed from you."
    )
    assert "not measurable" not in bottom_line(summary(arm(10, 0), untaped=("left breast",)))
    assert bottom_line(summary(untaped=("head and neck",), kind=LetterKind.REPORT)) == (
        "Swelling not measurable by tape: head and neck. No action needed from you."
    )
    assert bottom_line(summary(kind=LetterKind.REPORT)).startswith("Not measured.")


def test_worse_comes_before_better_and_asks_for_something() -> None:
    told = summary(arm(100, 300), replace(arm(500, 300), limb=Limb.LEG))
    assert bottom_line(told).startswith("Worse: the excess volume of the right leg has risen")
    assert bottom_line(told).endswith("Please see below what we ask of you.")
    assert "reason for the rise" in proposals(told).request
    assert "Because of the rise" in proposals(told).plan


@pytest.mark.parametrize(
    ("cancer_treatment", "said"), [("Mar 2024 mastectomy", "recurrence"), ("", "tumour")]
)
def test_recurrence_is_named_only_where_there_was_a_cancer(
    cancer_treatment: str, said: str
) -> None:
    worse = summary(replace(arm(500, 300), rose_suddenly=True), cancer_treatment=cancer_treatment)
    assert said in alerts(worse)[0]
    assert f"such as {said}, infection or clot" in request_text(
        replace(worse, limbs=(arm(500, 300),))
    )


def test_an_unmeasured_period_says_so() -> None:
    line = bottom_line(summary(arm(200, 400), measured_count=0))
    assert line.startswith("Not measured in this period. Better on 5 Mar 2026: the excess volume")
    standing = bottom_line(summary(arm(220, 600, 200), measured_count=0))
    assert "better than at baseline, as measured on 5 Mar 2026: the" in standing
    first = replace(arm(200), baseline=arm(200).now)
    assert bottom_line(summary(first, measured_count=0)).startswith(
        "Not measured in this period. First measurement on 5 Mar 2026: the right arm"
    )


def test_the_sentence_always_fits_its_field() -> None:
    rise = replace(arm(500, 300), affected_side=None, is_bilateral=True)
    told = summary(rise, replace(rise, limb=Limb.LEG), measured_count=0)
    assert len(bottom_line(told)) <= BOTTOM_LINE_LENGTH


def test_an_absolute_precaution_or_a_sudden_rise_goes_into_the_box() -> None:
    infection = PrecautionOpen(Precaution.UNTREATED_INFECTION, NOW_ON, True)
    port = PrecautionOpen(Precaution.DEVICE_UNDER_SKIN, NOW_ON, False)
    calm = summary(arm(200, 400), precautions=(port,))
    assert alerts(calm) == ()
    infected = summary(arm(200, 400), precautions=(infection, port))
    assert alerts(infected) == (
        "Recorded on 5 Mar 2026: untreated infection, cellulitis or fever.",
    )
    assert "attention now" in bottom_line(infected)
    assert "waits" in proposals(infected).plan
    rose = summary(replace(arm(500, 300), rose_suddenly=True))
    assert alerts(rose)[0].startswith("The right arm rose by 10 % or more in under two weeks")
    either = replace(rose.limbs[0], affected_side=None, is_bilateral=True)
    assert alerts(summary(either))[0].startswith("One arm or both rose by 10 %")
    assert "waits" in proposals(rose).plan


def test_that_both_limbs_rose_is_asked_about_once_whatever_the_difference_between_them() -> None:
    """Both limbs together: think of the whole body. [memory]"""
    rose = replace(arm(200, 210, 205), both_rose=True)
    asked = proposals(summary(rose))
    assert bottom_line(summary(rose)).endswith(
        "Both arms rose since the session before: please see below what we ask of you."
    )
    assert "a cause in the whole body" in asked.request
    told = replace(rose, last=rose.now)
    assert proposals(summary(told)).request == "No action needed from you."
    worse = proposals(summary(replace(arm(500, 300), both_rose=True)))
    assert worse.request.startswith("Please tell us whether you see a reason for the rise")


@pytest.mark.parametrize("phase", list(Phase))
def test_every_phase_proposes_a_plan_that_fits(phase: Phase) -> None:
    proposed = proposals(summary(arm(200, 400), phase=phase))
    assert 0 < len(proposed.plan) <= 600
    assert ("refer again" in proposed.plan) == (phase is Phase.DISCHARGED)
    assert proposed.adherence == ""  # the record does not know it


def test_the_next_girths_follow_the_same_intervals_as_the_recalls() -> None:
    """Taped on 5 Mar 2026: a week, three months, six months later, or as the episode says."""
    numbers = arm(200, 400)
    due = {phase: next_girths_on(summary(numbers, phase=phase)) for phase in Phase}
    assert due == {
        Phase.SURVEILLANCE: date(2026, 6, 5),
        Phase.INTENSIVE: date(2026, 3, 12),
        Phase.MAINTENANCE: date(2026, 9, 5),
        Phase.DISCHARGED: None,
    }
    kept = summary(numbers, phase=Phase.SURVEILLANCE, every_months=4)
    assert next_girths_on(kept) == date(2026, 7, 5)
    assert "Next measurement due by 5 Jul 2026." in proposals(kept).plan
    late = replace(kept, written_on=date(2026, 7, 6))
    assert "The next measurement is due now." in proposals(late).plan


def test_adherence_says_days_of_seven_and_how_often_it_was_asked() -> None:
    told = Adherence(times_asked=3, mean_days_of_seven=4.67, hard_places=("back of the hand",))
    assert proposals(summary(arm(300.0, 200.0), adherence=told)).adherence == (
        "Home programme done on about 5 of 7 days (mean of 3 answers). Hard to do: back of the"
        " hand."
    )
    assert proposals(summary(arm(300.0, 200.0))).adherence == ""
