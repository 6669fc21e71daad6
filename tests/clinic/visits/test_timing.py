"""Timed units against the CMS table and every published or worked example, by both rules."""

import json
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.visits.timing import (
    TimingRule,
    Treated,
    UnitCount,
    WarningKind,
    explanation,
    midpoint_units,
    timed_units,
    units_of,
    warnings,
)
from clinic.visits.timing_errors import MinutesTooFew, MinutesTooMany, TimedAndUntimed

PUBLISHED = Path(__file__).parents[2] / "published" / "timed_units.json"
CASES = json.loads(PUBLISHED.read_text())["cases"]

# CMS Medicare Claims Processing Manual (Pub. 100-04), chapter 5, 20.2 C: from, to minute, units.
CMS_CHAPTER_5_20_2 = [
    (8, 22, 1),
    (23, 37, 2),
    (38, 52, 3),
    (53, 67, 4),
    (68, 82, 5),
    (83, 97, 6),
    (98, 112, 7),
    (113, 127, 8),
]

DAYS = st.lists(
    st.builds(
        Treated,
        code=st.sampled_from(["97110", "97112", "97140", "97535", "97760"]),
        minutes=st.integers(1, 90),
        is_timed=st.just(True),
    ),
    max_size=8,
)


def treated_in(case: dict[str, Any]) -> list[Treated]:
    timed = [Treated(code, spent, True) for code, spent in case["timed_minutes"].items()]
    untimed = case.get("untimed", {}).items()
    return timed + [Treated(code, each["minutes"], False) for code, each in untimed]


def timed(**minutes: int) -> list[Treated]:
    return [Treated(code.removeprefix("c"), spent, True) for code, spent in minutes.items()]


def by_eight_minutes(*treated: Treated, preferred: tuple[str, ...] = ()) -> UnitCount:
    return units_of(treated, rule=TimingRule.EIGHT_MINUTE, preferred=preferred)


@pytest.mark.parametrize(("first_min", "last_min", "units"), CMS_CHAPTER_5_20_2)
def test_timed_units_follow_the_cms_table(first_min: int, last_min: int, units: int) -> None:
    assert {timed_units(minutes) for minutes in range(first_min, last_min + 1)} == {units}


def test_fewer_than_eight_minutes_are_no_unit() -> None:
    assert {timed_units(minutes) for minutes in range(8)} == {0}


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"])
def test_every_example_comes_out_by_the_days_total(case: dict[str, Any]) -> None:
    # Where the source leaves the choice, the clinician makes the one that the example prints.
    chosen = [code for code, units in case["expected_units"].items() if units]
    count = by_eight_minutes(*treated_in(case), preferred=tuple(chosen))
    untimed = {code: each["units"] for code, each in case.get("untimed", {}).items()}
    assert count.units_by_code() == case["expected_units"] | untimed
    assert count.timed_units == case["expected_total_timed_units"]
    assert count.timed_min == case["total_timed_minutes"]
    assert list(count.tie_any_of) == case.get("tie_any_of", [])


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"])
def test_every_example_comes_out_by_the_midpoint_rule(case: dict[str, Any]) -> None:
    count = units_of(treated_in(case), rule=TimingRule.MIDPOINT)
    assert {each.code: each.units for each in count.timed} == case["midpoint_rule_units"]
    assert count.timed_units == case["midpoint_rule_total"]
    assert count.tie_any_of == ()


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["id"])
def test_the_rules_are_said_to_disagree_exactly_where_the_examples_differ(
    case: dict[str, Any],
) -> None:
    differ = case["expected_total_timed_units"] != case["midpoint_rule_total"]
    for rule in TimingRule:
        found = [each.kind for each in warnings(units_of(treated_in(case), rule=rule))]
        assert (WarningKind.RULES_DISAGREE in found) == differ


def test_the_evaluation_day_counts_83_minutes_of_treatment_and_53_timed_ones() -> None:
    case = next(each for each in CASES if each["id"] == "eval_day")  # the numbers: its note
    count = by_eight_minutes(*treated_in(case))
    assert (count.treatment_min, count.timed_min, count.total_units) == (83, 53, 5)


def test_a_tie_without_a_choice_goes_to_more_minutes_then_to_the_lower_code() -> None:
    longer = by_eight_minutes(*timed(c97110=20, c97140=35))
    level = by_eight_minutes(*timed(c97112=20, c97110=20))
    assert longer.units_by_code() == {"97110": 1, "97140": 3}
    assert longer.tie_any_of == ("97110", "97140")
    assert level.units_by_code() == {"97110": 2, "97112": 1}


def test_two_units_for_three_level_services_go_where_the_clinician_chose() -> None:
    day = timed(c97110=8, c97112=8, c97140=8)
    assert by_eight_minutes(*day, preferred=("97140", "97112")).units_by_code() == {
        "97110": 0,
        "97112": 1,
        "97140": 1,
    }


def test_a_choice_cannot_take_a_unit_from_more_minutes_left_over() -> None:
    # Manual example 3: 3 minutes left over against 7.
    count = by_eight_minutes(*timed(c97110=33, c97140=7), preferred=("97110",))
    assert count.units_by_code() == {"97110": 2, "97140": 1}


def test_the_same_code_entered_twice_adds_up() -> None:
    twice = by_eight_minutes(Treated("97140", 7, True), Treated("97140", 8, True))
    assert twice == by_eight_minutes(Treated("97140", 15, True))


def test_an_untimed_service_is_one_unit_a_day_however_often_and_long() -> None:
    count = by_eight_minutes(Treated("97016", 30, False), Treated("97016", 40, False))
    assert count.units_by_code() == {"97016": 1}
    assert (count.timed_min, count.treatment_min, count.timed_units) == (0, 70, 0)


def test_no_treatment_is_no_unit() -> None:
    assert by_eight_minutes().total_units == 0
    assert explanation(by_eight_minutes()) == ()


# Laws


@given(DAYS)
def test_units_add_up_to_the_tables_total(day: list[Treated]) -> None:
    total_min = sum(each.minutes for each in day)
    assert by_eight_minutes(*day).timed_units == timed_units(total_min)


@given(DAYS)
def test_no_service_has_less_than_its_quarter_hours_or_two_more(day: list[Treated]) -> None:
    for each in by_eight_minutes(*day).timed:
        assert each.units - each.minutes // 15 in {0, 1}


@given(DAYS, st.randoms(use_true_random=False), st.sampled_from(TimingRule))
def test_the_order_of_entry_changes_nothing(
    day: list[Treated], chance: Random, rule: TimingRule
) -> None:
    shuffled = list(day)
    chance.shuffle(shuffled)
    assert units_of(shuffled, rule=rule) == units_of(day, rule=rule)


@given(st.integers(0, 1439))
def test_one_more_minute_never_takes_a_unit(minutes: int) -> None:
    assert timed_units(minutes) <= timed_units(minutes + 1) <= timed_units(minutes) + 1


@given(st.integers(1, 1440))
def test_one_service_alone_counts_the_same_by_both_rules(minutes: int) -> None:
    assert timed_units(minutes) == midpoint_units(minutes)


@given(DAYS)
def test_rules_that_agree_in_all_agree_service_by_service(day: list[Treated]) -> None:
    total, midpoint = (units_of(day, rule=rule) for rule in TimingRule)
    if total.timed_units == midpoint.timed_units:
        assert total.services == midpoint.services


@given(DAYS)
def test_a_tie_names_both_who_got_a_unit_and_who_did_not(day: list[Treated]) -> None:
    count = by_eight_minutes(*day)
    tied = [each for each in count.timed if each.code in count.tie_any_of]
    assert len({each.left_over_min for each in tied}) <= 1
    assert {each.has_one_more for each in tied} == ({True, False} if tied else set())


# In words


def test_the_explanation_tells_manual_example_1() -> None:
    assert explanation(by_eight_minutes(*timed(c97112=24, c97110=23))) == (
        "47 timed minutes in all: 3 whole quarter hours and 2 left over; fewer than 8 do not"
        " count, so 3 units.",
        "97110, 23 minutes: 1 whole quarter hour; the day's total has no unit for the 8 left"
        " over, so 1 unit.",
        "97112, 24 minutes: 1 whole quarter hour and one more for the 9 left over, so 2 units.",
    )


# The edges of the CMS table: 7 and 8 minutes, 22 and 23.
@pytest.mark.parametrize(
    ("minutes", "told"),
    [
        (7, "7 timed minutes in all: fewer than 8, so no unit."),
        (
            8,
            "8 timed minutes in all: no whole quarter hour and 8 left over; 8 or more count as"
            " one more, so 1 unit.",
        ),
        (
            22,
            "22 timed minutes in all: 1 whole quarter hour and 7 left over; fewer than 8 do not"
            " count, so 1 unit.",
        ),
        (
            23,
            "23 timed minutes in all: 1 whole quarter hour and 8 left over; 8 or more count as"
            " one more, so 2 units.",
        ),
    ],
)
def test_the_explanation_is_right_at_the_edges_of_the_table(minutes: int, told: str) -> None:
    assert explanation(by_eight_minutes(*timed(c97140=minutes)))[0] == told


def test_the_explanation_says_that_a_tie_is_the_clinicians_to_choose() -> None:
    told = explanation(by_eight_minutes(*timed(c97112=20, c97110=20)))
    assert told[-1] == (
        "97110 and 97112 have equally many minutes left over, so 1 unit may go to any of them:"
        " here to 97110. The choice is yours."
    )


def test_the_explanation_keeps_untimed_minutes_apart() -> None:
    told = explanation(by_eight_minutes(Treated("97140", 45, True), Treated("97016", 30, False)))
    assert told == (
        "45 timed minutes in all: 3 whole quarter hours, so 3 units.",
        "97140, 45 minutes: 3 whole quarter hours, so 3 units.",
        "97016, 30 minutes, untimed: 1 unit a day, whatever its minutes; they stay out of the"
        " timed total.",
        "75 minutes of treatment in all, 45 of them timed.",
    )


def test_the_explanation_of_the_midpoint_rule_speaks_of_each_service_only() -> None:
    told = explanation(units_of(timed(c97110=33, c97140=8), rule=TimingRule.MIDPOINT))
    assert told == (
        "97110, 33 minutes: 2 whole quarter hours and 3 left over, fewer than 8, so 2 units.",
        "97140, 8 minutes: no whole quarter hour and 8 left over, 8 or more, so 1 unit.",
    )


# What is odd


def test_minutes_past_the_visit_are_warned_of_and_nothing_is_changed() -> None:
    count = by_eight_minutes(Treated("97140", 45, True), Treated("97016", 30, False))
    assert warnings(count, visit_minutes=75) == ()
    found = warnings(count, visit_minutes=74)
    assert [each.kind for each in found] == [WarningKind.PAST_VISIT]
    assert "75 minutes" in found[0].sentence
    assert "74" in found[0].sentence


def test_a_service_without_a_unit_is_named() -> None:
    # Manual example 4: the shortest of four is charted but has no unit.
    count = by_eight_minutes(*timed(c97110=18, c97140=13, c97116=10, c97035=8))
    found = {each.kind: each.codes for each in warnings(count)}
    assert found[WarningKind.NO_UNIT] == ("97035",)
    assert found[WarningKind.RULES_DISAGREE] == ("97035",)


@pytest.mark.parametrize("minutes", [0, -1])
@pytest.mark.parametrize("is_timed", [True, False])
def test_a_service_of_no_minutes_is_refused_by_name(minutes: int, is_timed: bool) -> None:
    with pytest.raises(MinutesTooFew) as refused:
        by_eight_minutes(Treated("97140", minutes, is_timed))
    assert (refused.value.code, refused.value.minutes, refused.value.least) == ("97140", minutes, 1)


def test_more_than_a_day_is_refused_for_one_service_and_for_all_together() -> None:
    with pytest.raises(MinutesTooMany):
        by_eight_minutes(Treated("97140", 1441, True))
    with pytest.raises(MinutesTooMany):
        by_eight_minutes(*timed(c97140=800, c97110=800))
    with pytest.raises(MinutesTooMany):
        timed_units(1441)


def test_minutes_below_0_are_refused() -> None:
    with pytest.raises(MinutesTooFew):
        timed_units(-1)
    with pytest.raises(MinutesTooFew):
        midpoint_units(-1)
    with pytest.raises(MinutesTooFew):
        warnings(by_eight_minutes(), visit_minutes=0)


def test_one_code_cannot_be_timed_and_untimed_at_once() -> None:
    with pytest.raises(TimedAndUntimed, match="97140"):
        by_eight_minutes(Treated("97140", 20, True), Treated("97140", 20, False))
