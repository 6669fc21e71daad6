"""What is due, and when."""

from datetime import date

import pytest

from clinic.common.vocabulary import Limb, Phase
from clinic.overview.due import DueItem, DueKind, EpisodeFacts, due_items


def facts(**differences: object) -> EpisodeFacts:
    values = {
        "opened_on": date(2026, 1, 5),
        "phase": Phase.SURVEILLANCE,
        "every_months": None,
        "last_taped_on": {Limb.ARM: date(2026, 1, 5)},
        "unstaged_regions": (),
        "letter_frequency": None,
        "last_letter_to": None,
        "girth_draft_on": None,
        "letter_draft_on": None,
    }
    return EpisodeFacts(**values | differences)


# Stout Gergich et al., Cancer 2008;112:2809-2819: baseline, then every three months. The other two
# phases: common practice, no source.
@pytest.mark.parametrize(
    ("phase", "due_on"),
    [
        (Phase.SURVEILLANCE, date(2026, 4, 5)),
        (Phase.INTENSIVE, date(2026, 1, 12)),
        (Phase.MAINTENANCE, date(2026, 7, 5)),
    ],
)
def test_remeasurement_follows_the_phase(phase: Phase, due_on: date) -> None:
    assert due_items(facts(phase=phase)) == (DueItem(DueKind.REMEASURE, due_on, "arm"),)


def test_a_limb_never_taped_is_due_for_its_baseline_since_the_opening() -> None:
    (item,) = due_items(facts(last_taped_on={Limb.LEG: None}))
    assert item == DueItem(DueKind.BASELINE, date(2026, 1, 5), "leg")
    assert item.is_overdue(date(2026, 1, 6))


def test_three_months_after_the_last_of_november_is_the_last_of_february() -> None:
    (item,) = due_items(facts(last_taped_on={Limb.ARM: date(2025, 11, 30)}))
    assert item.due_on == date(2026, 2, 28)


def test_an_episode_with_months_of_its_own_is_due_by_those() -> None:
    taped = {Limb.ARM: date(2026, 1, 31)}
    (item,) = due_items(facts(last_taped_on=taped, every_months=1))
    assert item.due_on == date(2026, 2, 28)
    (item,) = due_items(facts(last_taped_on=taped, every_months=1, phase=Phase.INTENSIVE))
    assert item.due_on == date(2026, 2, 7)


def test_a_letter_is_due_as_often_as_the_referrer_wishes() -> None:
    items = due_items(facts(letter_frequency="monthly", last_letter_to=date(2026, 1, 31)))
    assert DueItem(DueKind.LETTER, date(2026, 2, 28)) in items
    for frequency in ("never", "changes", None):
        kinds = {item.kind for item in due_items(facts(letter_frequency=frequency))}
        assert DueKind.LETTER not in kinds


def test_a_letter_draft_takes_the_place_of_the_letter() -> None:
    items = due_items(facts(letter_frequency="monthly", letter_draft_on=date(2026, 2, 1)))
    assert [item.kind for item in items] == [DueKind.LETTER_DRAFT, DueKind.REMEASURE]


def test_nothing_is_due_after_discharge() -> None:
    assert due_items(facts(phase=Phase.DISCHARGED, unstaged_regions=("left arm",))) == ()
