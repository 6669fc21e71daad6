"""Who is owed a letter for March 2026, and why or why not. Calendar dates checked by hand."""

from dataclasses import replace
from datetime import date
from uuid import UUID

import pytest

from clinic.common.vocabulary import LetterFrequency
from clinic.letters.runs.owed import EpisodeFacts, decide, first_day_of_interest, month_end
from clinic.letters.runs.words import Reason

MARCH = date(2026, 3, 1)
MONTHLY = EpisodeFacts(
    episode_id=UUID(int=1),
    wish=LetterFrequency.MONTHLY,
    agrees=True,
    last_letter_to=None,
    has_draft=False,
    first_taped_on=date(2026, 1, 5),
    visited_on=frozenset({date(2026, 3, 4), date(2026, 3, 18), date(2026, 2, 2)}),
)
QUARTERLY = replace(MONTHLY, wish=LetterFrequency.QUARTERLY)


def reason(facts: EpisodeFacts = MONTHLY, **differences: object) -> Reason:
    return decide(replace(facts, **differences), MARCH).reason


def test_the_months_are_those_of_the_calendar() -> None:
    assert month_end(date(2024, 2, 1)) == date(2024, 2, 29)
    assert month_end(date(2026, 12, 1)) == date(2026, 12, 31)
    assert first_day_of_interest(MARCH) == date(2026, 1, 1)


def test_a_visit_in_the_month_is_told_of_that_month() -> None:
    decision = decide(MONTHLY, MARCH)
    assert (decision.period_from, decision.period_to) == (MARCH, date(2026, 3, 31))
    assert (decision.visits, decision.reason) == (2, Reason.WANTS_MONTHLY)


@pytest.mark.parametrize("on", [date(2026, 2, 28), date(2026, 4, 1)])
def test_a_visit_a_day_outside_the_month_does_not_count(on: date) -> None:
    assert reason(visited_on=frozenset({on})) is Reason.NO_VISIT


@pytest.mark.parametrize("on", [date(2026, 3, 1), date(2026, 3, 31)])
def test_first_and_last_day_count(on: date) -> None:
    assert reason(visited_on=frozenset({on})) is Reason.WANTS_MONTHLY


@pytest.mark.parametrize(
    ("differences", "expected"),
    [
        ({"agrees": False}, Reason.CLIENT_DECLINES),
        ({"wish": None}, Reason.NO_REFERRER),
        ({"wish": LetterFrequency.NEVER}, Reason.WANTS_NONE),
        ({"reader_is_active": False}, Reason.REFERRER_GONE),
        ({"wish": None, "reader_is_active": False}, Reason.NO_REFERRER),
        ({"wish": LetterFrequency.CHANGES}, Reason.HAS_CHANGED),
        ({"has_draft": True}, Reason.DRAFT_OPEN),
        ({"first_taped_on": None}, Reason.NOTHING_TAPED),
        ({"first_taped_on": date(2026, 4, 2)}, Reason.NOTHING_TAPED),
        ({"last_letter_to": date(2026, 3, 31)}, Reason.ALREADY_SENT),
        ({"last_letter_to": date(2026, 4, 9)}, Reason.ALREADY_SENT),
        ({"agrees": False, "wish": None, "has_draft": True}, Reason.CLIENT_DECLINES),
    ],
)
def test_each_reason(differences: dict[str, object], expected: Reason) -> None:
    assert reason(**differences) is expected


def test_a_letter_of_mid_month_leaves_only_the_days_after_it() -> None:
    told = replace(MONTHLY, last_letter_to=date(2026, 3, 10))
    decision = decide(told, MARCH)
    assert (decision.period_from, decision.visits) == (date(2026, 3, 11), 1)
    assert decide(replace(told, last_letter_to=date(2026, 3, 18)), MARCH).reason is (
        Reason.ALREADY_SENT
    )


def test_a_quarterly_letter_covers_three_months_and_comes_after_three() -> None:
    first = decide(QUARTERLY, MARCH)
    assert (first.period_from, first.visits) == (date(2026, 1, 1), 3)
    assert first.reason is Reason.WANTS_QUARTERLY
    assert reason(QUARTERLY, last_letter_to=date(2025, 12, 31)) is Reason.WANTS_QUARTERLY
    assert reason(QUARTERLY, last_letter_to=date(2026, 1, 31)) is Reason.NOT_YET_DUE
    assert reason(QUARTERLY, last_letter_to=date(2026, 2, 28)) is Reason.NOT_YET_DUE


def test_an_episode_that_ended_in_the_month_is_told_whatever_the_rhythm() -> None:
    ended = {"discharged_on": date(2026, 3, 20), "visited_on": frozenset()}
    assert reason(**ended) is Reason.DISCHARGED
    assert reason(QUARTERLY, last_letter_to=date(2026, 2, 28), **ended) is Reason.DISCHARGED
    assert reason(last_letter_to=date(2026, 3, 20), **ended) is Reason.ALREADY_SENT
    assert reason(last_letter_to=date(2026, 3, 19), **ended) is Reason.DISCHARGED
    assert reason(wish=LetterFrequency.NEVER, **ended) is Reason.WANTS_NONE


def test_the_period_never_runs_backwards() -> None:
    decision = decide(replace(MONTHLY, last_letter_to=date(2026, 5, 1)), MARCH)
    assert decision.period_from <= decision.period_to == date(2026, 3, 31)
