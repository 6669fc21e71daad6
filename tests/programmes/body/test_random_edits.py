"""A therapist's edits are either sound or reported; the judge is `oracle`, on networkx."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from clinic.common.vocabulary import Precaution
from programmes.body.planner import plan
from programmes.body.situation import Options, Situation
from programmes.body.steps import Chapter, Step, Technique
from programmes.body.territory import territory_map
from programmes.body.validator import violations
from tests.programmes.body.cases import SCENARIOS, one_arm, one_leg, situation_of
from tests.programmes.body.oracle import LEFT_OUT_BY, is_sound

BODIES: list[Situation] = [
    situation_of(scenario)
    for scenario in SCENARIOS
    if "blocked_nodes" not in scenario and scenario["id"] != "all_four"
]
BODIES += [
    one_arm(precautions=frozenset({Precaution.PREGNANCY})),
    one_arm(options=Options(limb_by_therapist_only=True)),
    one_leg(precautions=frozenset({Precaution.FRAGILE_LIMB_SKIN})),
]
PLANNED = [(situation, plan(situation).steps) for situation in BODIES]


def _remove(steps: list[Step], here: int, there: int) -> None:
    del steps[here]


def _swap(steps: list[Step], here: int, there: int) -> None:
    steps[here], steps[there] = steps[there], steps[here]


def _carry(steps: list[Step], here: int, there: int) -> None:
    steps.insert(there, steps.pop(here))


def _repeat(steps: list[Step], here: int, there: int) -> None:
    steps.insert(there, steps[here])


def _turn_round(steps: list[Step], here: int, there: int) -> None:
    path = steps[here].path[::-1]
    steps[here] = replace(steps[here], path=path, node=path[0] if path else steps[here].node)


def _borrow_path(steps: list[Step], here: int, there: int) -> None:
    """Work a place with the stroke of another step, as if the wrong card had been dropped."""
    path = steps[there].path
    if path and steps[here].path:
        steps[here] = replace(steps[here], path=path, node=path[0])


EDITS = (_remove, _swap, _carry, _repeat, _turn_round, _borrow_path)
EVERY_WAY = sorted(territory_map().edges)
THERE_AND_BACK = [(a, b) for a, b in EVERY_WAY if (b, a) in territory_map().edges]
LATER_FINDINGS = [frozenset[Precaution](), *(frozenset({word}) for word in LEFT_OUT_BY)]


def _stroke(path: tuple[str, str]) -> Step:
    return Step(Technique.CIRCLES, path[0], Chapter.TRUNK, 5, path=path)


@st.composite
def edited(draw: st.DrawFn) -> tuple[Situation, tuple[Step, ...]]:
    """A plan with one to three cards removed, moved, repeated, turned round or borrowed."""
    situation, planned = draw(st.sampled_from(PLANNED))
    steps = list(planned)
    for _ in range(draw(st.integers(1, 3))):
        place = st.integers(0, len(steps) - 1)
        draw(st.sampled_from(EDITS))(steps, draw(place), draw(place))
    return situation, tuple(steps)


@st.composite
def added_to(draw: st.DrawFn) -> tuple[Situation, tuple[Step, ...]]:
    """A plan with strokes added along any way of the map, or judged after a later finding."""
    situation, planned = draw(st.sampled_from(PLANNED))
    steps = list(planned)
    if draw(st.booleans()):
        at = draw(st.integers(0, len(steps)))
        steps[at:at] = [_stroke(draw(st.sampled_from(EVERY_WAY)))]
    elif draw(st.booleans()):
        out = draw(st.sampled_from(THERE_AND_BACK))
        at = draw(st.integers(0, len(steps)))
        steps[at:at] = [_stroke(out), _stroke(out[::-1])]
    found = draw(st.sampled_from(LATER_FINDINGS))
    return replace(situation, precautions=situation.precautions | found), tuple(steps)


@given(st.one_of(edited(), added_to()))
@settings(max_examples=400, deadline=None, print_blob=True)
def test_an_edited_programme_is_sound_or_reported(case: tuple[Situation, tuple[Step, ...]]) -> None:
    situation, steps = case
    found = [
        violation
        for violation in violations(steps, situation)
        if violation.fault not in ("too_few", "too_many")
    ]
    assert bool(found) is not is_sound(steps, situation), found


@pytest.mark.parametrize("case", range(0, len(PLANNED), 2), ids=str)
def test_each_stroke_added_along_any_way_is_sound_or_reported(case: int) -> None:
    """Added just before the limb, or before the last step where no limb is worked."""
    situation, steps = PLANNED[case]
    at = next((i for i, s in enumerate(steps) if s.chapter is Chapter.LIMB), len(steps) - 1)
    for way in EVERY_WAY:
        more = (*steps[:at], _stroke(way), *steps[at:])
        assert bool(violations(more, situation)) is not is_sound(more, situation), way


@pytest.mark.parametrize("case", range(len(PLANNED)), ids=str)
def test_each_single_removal_is_sound_or_reported(case: int) -> None:
    situation, steps = PLANNED[case]
    for here in range(len(steps)):
        rest = (*steps[:here], *steps[here + 1 :])
        assert bool(violations(rest, situation)) is not is_sound(rest, situation), here


@pytest.mark.parametrize("case", range(0, len(PLANNED), 6), ids=str)
def test_each_swap_of_two_steps_is_sound_or_reported(case: int) -> None:
    situation, steps = PLANNED[case]
    for here in range(len(steps)):
        for there in range(here):
            swapped = list(steps)
            _swap(swapped, here, there)
            assert bool(violations(swapped, situation)) is not is_sound(swapped, situation)


def test_the_judge_accepts_what_was_planned_and_refuses_its_reverse() -> None:
    for situation, steps in PLANNED:
        assert is_sound(steps, situation)
        assert not is_sound(steps[::-1], situation)
