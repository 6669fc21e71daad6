"""When reports and certifications fall due.

The counts are those of the CMS Medicare Benefit Policy Manual (Pub. 100-02), chapter 15, 220.1.3
and 220.3 D, read in part on pages that reproduce it.
"""

from datetime import date, timedelta
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.visits.plan_dates import (
    Certification,
    CertificationBackwards,
    PlanFacts,
    PlanRuleOutOfRange,
    PlanRules,
    PlanStanding,
    PlanWarning,
    plan_standing,
)

MONDAY = date(2026, 3, 2)
CERTIFIED = Certification(MONDAY, certified_on=MONDAY)
DAYS = st.lists(st.integers(0, 60).map(lambda days: MONDAY + timedelta(days=days)), max_size=30)


def weekdays(count: int, *, first_on: date = MONDAY) -> list[date]:
    """So many days from Monday to Friday, one after another."""
    days = (first_on + timedelta(days=each) for each in range(2 * count + 7))
    return [on for on in days if on.weekday() < 5][:count]


def standing(
    treated_on: list[date],
    *,
    on: date | None = None,
    rules: PlanRules | None = None,
    **facts: Any,
) -> PlanStanding:
    facts = {"certifications": [CERTIFIED]} | facts
    return plan_standing(
        PlanFacts(treated_on=treated_on, **facts), today=on or max(treated_on), rules=rules
    )


# Progress reports. 220.3 D: at least once every 10 treatment days; the first period begins on the
# first day of the episode of treatment, whether an evaluation or a treatment.
def test_the_tenth_treatment_day_is_when_a_report_is_due() -> None:
    assert not standing(weekdays(9)).report.is_due
    tenth = standing(weekdays(10))
    assert tenth.report.is_due
    assert not tenth.report.is_overdue
    assert tenth.warnings == (PlanWarning.REPORT_DUE,)
    # Ten working days from Monday 2 March 2026 end on Friday 13 March: by the calendar.
    assert (tenth.report.due_on, tenth.report.due_at_day) == (date(2026, 3, 13), 10)


def test_a_report_not_written_by_the_day_after_is_overdue() -> None:
    late = standing(weekdays(10), on=date(2026, 3, 14))
    assert late.report.is_overdue
    assert late.is_overdue
    assert late.warnings == (PlanWarning.REPORT_OVERDUE,)


def test_two_visits_on_one_day_are_one_treatment_day() -> None:
    twice_a_day = [on for on in weekdays(9) for _ in range(2)]
    found = standing(twice_a_day)
    assert (found.treatment_days, found.report.since_last) == (9, 9)
    assert not found.report.is_due


def test_days_without_treatment_do_not_count() -> None:
    assert not standing(weekdays(9), on=date(2026, 5, 1)).report.is_due


# 220.3 D: the period ends on a day the clinician chooses or the 10th treatment day, and the next
# treatment day begins the next: from memory, not re-read.
def test_a_report_before_its_time_begins_the_next_period() -> None:
    days = weekdays(17)
    early = standing(days, reported_until=[days[7]])
    assert (early.report.since_last, early.report.due_at_day) == (9, 18)
    assert standing(weekdays(18), reported_until=[days[7]]).report.is_due


def test_the_report_written_on_the_tenth_day_settles_it() -> None:
    days = weekdays(10)
    found = standing(days, reported_until=[days[-1]])
    assert (found.report.since_last, found.report.due_at_day) == (0, 20)
    assert found.warnings == ()


def test_the_latest_report_counts_and_one_of_a_day_to_come_does_not() -> None:
    days = weekdays(12)
    assert standing(days, reported_until=[days[3], days[9], days[5]]).report.since_last == 2
    assert standing(days, reported_until=[days[-1] + timedelta(days=1)]).report.since_last == 12


def test_two_treatment_days_before_a_report_somebody_is_told() -> None:
    assert standing(weekdays(7)).warnings == ()
    soon = standing(weekdays(8))
    assert soon.warnings == (PlanWarning.REPORT_SOON,)
    assert soon.report.days_to_go(PlanRules()) == 2


def test_the_day_of_the_report_is_foretold_from_what_is_booked() -> None:
    days = weekdays(12)
    done, booked = days[:7], days[7:]
    found = standing(done, booked_on=[*booked, booked[0]])
    assert (found.report.due_on, found.report.is_due) == (days[9], False)
    assert standing(done, booked_on=booked[:2]).report.due_on is None


def test_a_tenth_day_that_is_booked_today_makes_the_report_due_today() -> None:
    days = weekdays(10)
    found = standing(days[:9], booked_on=[days[9]], on=days[9])
    assert (found.report.is_due, found.report.is_overdue) == (True, False)


def test_a_booking_of_today_that_was_kept_is_not_counted_twice() -> None:
    days = weekdays(9)
    found = standing(days, booked_on=[days[8]])
    assert (found.report.due_on, found.report.is_due) == (None, False)


def test_a_booking_of_the_past_that_was_not_kept_counts_nowhere() -> None:
    days = weekdays(12)
    found = standing(days[:9], booked_on=[days[9]], on=days[10])
    assert (found.report.due_on, found.report.is_due) == (None, False)


# An archived CMS answer (FAQ 2003) asks for 10 treatment days or 30 calendar days, whichever is
# less; the manual does not, so the clinic chooses.
def test_thirty_calendar_days_can_be_asked_for_as_well() -> None:
    rules = PlanRules(report_within_days=30)
    weekly = [MONDAY + timedelta(days=7 * week) for week in range(5)]
    found = standing(weekly, on=date(2026, 3, 31), rules=rules)
    assert (found.report.due_on, found.report.is_due) == (date(2026, 3, 31), True)
    assert standing(weekly, on=date(2026, 4, 1), rules=rules).report.is_overdue
    assert standing(weekly, on=date(2026, 4, 1)).report.due_on is None


def test_the_number_of_days_is_the_clinics_to_set() -> None:
    assert standing(weekdays(6), rules=PlanRules(report_every_days=6)).report.is_due


# Certification. 220.1.3: the length of the plan or 90 calendar days from the first treatment,
# the shorter; the first day is taken as day 1, which is the stricter reading.
def test_day_90_is_the_last_day_of_a_certification() -> None:
    # 2 March is day 61 of 2026 and 30 May is day 150: 90 days, both counted.
    last = standing([MONDAY], on=date(2026, 5, 30)).certification
    assert last is not None
    assert (last.last_on, last.days_left, last.has_ended) == (date(2026, 5, 30), 0, False)
    ended = standing([MONDAY], on=date(2026, 5, 31))
    assert ended.certification is not None
    assert ended.certification.has_ended
    assert ended.is_overdue
    assert PlanWarning.CERTIFICATION_ENDED in ended.warnings


@pytest.mark.parametrize(
    ("to_on", "last_on"),
    [
        (date(2026, 4, 10), date(2026, 4, 10)),
        (date(2026, 5, 30), date(2026, 5, 30)),
        (date(2026, 12, 31), date(2026, 5, 30)),
        (None, date(2026, 5, 30)),
    ],
)
def test_the_shorter_of_the_plan_and_90_days_holds(to_on: date | None, last_on: date) -> None:
    assert Certification(MONDAY, to_on).last_day(PlanRules()) == last_on


def test_two_weeks_before_the_end_somebody_is_told() -> None:
    assert standing([MONDAY], on=date(2026, 5, 15)).warnings == ()
    assert standing([MONDAY], on=date(2026, 5, 16)).warnings == (PlanWarning.RECERTIFY_SOON,)


# 220.1.3: dated within the 30 days following the first day of treatment, the evaluation included.
@pytest.mark.parametrize(
    ("on", "warnings"),
    [
        (date(2026, 3, 22), ()),
        (date(2026, 3, 23), (PlanWarning.STILL_OPEN,)),
        (date(2026, 4, 1), (PlanWarning.STILL_OPEN,)),
        (date(2026, 4, 2), (PlanWarning.NOT_CERTIFIED,)),
    ],
)
def test_a_plan_not_certified_within_thirty_days_is_late(
    on: date, warnings: tuple[PlanWarning, ...]
) -> None:
    found = standing([MONDAY], on=on, certifications=[Certification(MONDAY)])
    assert found.warnings == warnings
    assert found.is_overdue is (PlanWarning.NOT_CERTIFIED in warnings)


def test_a_signature_of_a_day_to_come_does_not_certify_yet() -> None:
    signed_later = Certification(MONDAY, certified_on=date(2026, 3, 10))
    before = standing([MONDAY], certifications=[signed_later]).certification
    after = standing([MONDAY], on=date(2026, 3, 10), certifications=[signed_later]).certification
    assert before is not None
    assert after is not None
    assert (before.is_certified, after.is_certified) == (False, True)


def test_the_certification_begun_last_counts_and_one_that_begins_later_does_not() -> None:
    second = Certification(date(2026, 5, 31), certified_on=date(2026, 5, 29))
    both = [second, CERTIFIED]
    first = standing([MONDAY], on=date(2026, 5, 30), certifications=both).certification
    then = standing([MONDAY], on=date(2026, 5, 31), certifications=both).certification
    assert first is not None
    assert then is not None
    assert (first.from_on, then.from_on) == (MONDAY, date(2026, 5, 31))


def test_of_two_from_the_same_day_the_certified_one_counts() -> None:
    for both in ([Certification(MONDAY), CERTIFIED], [CERTIFIED, Certification(MONDAY)]):
        found = standing([MONDAY], certifications=both).certification
        assert found is not None
        assert found.is_certified


def test_treatment_without_a_plan_is_told_and_no_treatment_is_not() -> None:
    assert standing([MONDAY], certifications=[]).warnings == (PlanWarning.NO_PLAN,)
    nothing = plan_standing(PlanFacts(), today=MONDAY)
    assert (nothing.warnings, nothing.certification, nothing.treatment_days) == ((), None, 0)


def test_what_cannot_be_is_refused_by_name() -> None:
    with pytest.raises(CertificationBackwards):
        Certification(MONDAY, MONDAY - timedelta(days=1))
    for name in (
        "report_every_days",
        "certified_days",
        "certify_within_days",
        "report_within_days",
    ):
        with pytest.raises(PlanRuleOutOfRange) as refused:
            PlanRules(**{name: 0})
        assert refused.value.field == name


# Laws


@given(DAYS, DAYS, st.randoms(use_true_random=False))
def test_order_and_repeats_on_record_change_nothing(
    treated: list[date], reported: list[date], chance: Random
) -> None:
    today = MONDAY + timedelta(days=60)
    plain = plan_standing(PlanFacts(treated, reported), today=today)
    shuffled = treated * 2
    chance.shuffle(shuffled)
    assert plan_standing(PlanFacts(shuffled, reported[::-1]), today=today) == plain


@given(DAYS, st.integers(0, 60))
def test_what_lies_ahead_of_today_is_not_counted(treated: list[date], day: int) -> None:
    today = MONDAY + timedelta(days=day)
    known = [on for on in treated if on <= today]
    assert plan_standing(PlanFacts(treated), today=today) == plan_standing(
        PlanFacts(known), today=today
    )


@given(DAYS, DAYS)
def test_a_report_is_due_exactly_when_ten_days_went_unreported(
    treated: list[date], reported: list[date]
) -> None:
    today = MONDAY + timedelta(days=60)
    last_on = max(reported, default=MONDAY - timedelta(days=1))
    unreported = {on for on in treated if on > last_on}
    found = plan_standing(PlanFacts(treated, reported), today=today).report
    assert found.since_last == len(unreported)
    assert found.is_due is (len(unreported) >= 10)
