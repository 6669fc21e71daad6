"""What a client reads: plain, of the right side, kept as it was, and at grade 6 or below."""

import re
from itertools import chain

import pytest

from clinic.common.vocabulary import Precaution, Side
from programmes.body.planner import Plan, plan
from programmes.body.precautions import EFFECTS
from programmes.body.situation import Options
from programmes.body.steps import Technique, rows_of, steps_of
from programmes.body.territory import territory_map
from programmes.body.wording import TOUCH_RULES
from tests.programmes.body.cases import SCENARIOS, one_arm, one_leg, situation_of
from tests.programmes.body.reading import grade, syllables

# Flesch-Kincaid grade (see `reading`); own bound: grade 6 or below.
GRADE = 6.0
# A single short sentence may name "shoulder" or "belly breathing": no sentence above this.
GRADE_OF_ONE_SENTENCE = 9.0
TRADE_WORDS = re.compile(
    r"\b(axilla|groin-to|supraclav|cervical|lateral|anterior|posterior|distal|proximal|basin|"
    r"territory|watershed|segment|edema|node basin|quadrant|left out)\b",
    re.IGNORECASE,
)
MADE = [plan(situation_of(scenario, helper=True)) for scenario in SCENARIOS]


# Syllables as an English dictionary splits them. Known error: a silent e inside a compound, as in
# forehead, counts one too many, which only makes a text look harder.
SPLIT = re.findall(
    r"[a-z-]+",
    "shoul-der cir-cles col-lar-bone hol-low breathe slow-ly light-ly fin-gers a-cross "
    "breast-bone skin ease in-ward out-ward bel-ly knees pil-lows flu-id vess-els treat-ed "
    "ther-a-pist nodes help-er arm-pit el-bow be-tween place where bridge stretch-es "
    "makes lies ta-ble a-ble lit-tle pro-gramme el-e-va-tion in-fec-tion me-di-al go-ing "
    "do-ing clear crease smooth-est pinch-es press-es takes comes hand-width ",
)


def test_syllables_are_counted_as_a_dictionary_splits_them() -> None:
    wrong = [word for word in SPLIT if syllables(word.replace("-", "")) != word.count("-") + 1]
    assert wrong == []


def test_the_grade_of_a_known_sentence() -> None:
    # By hand: 6 words, 1 sentence, 6 syllables: 0.39 * 6 + 11.8 * 1 - 15.59 = -1.45.
    assert grade("The cat sat on the mat.") == pytest.approx(-1.45)


def sentences(made: Plan) -> list[str]:
    steps = ((s.direction, s.hand, s.position, s.why) for s in made.steps)
    left_out = (one.plain for one in made.left_out)
    return [*chain.from_iterable(steps), *left_out, *made.client_notes]


@pytest.mark.parametrize("made", MADE, ids=[scenario["id"] for scenario in SCENARIOS])
def test_a_programme_reads_at_grade_six_or_below(made: Plan) -> None:
    assert grade(" ".join(sentences(made))) <= GRADE


def test_the_touch_rules_and_the_cautions_read_at_grade_six_or_below() -> None:
    cautions = " ".join(effect.plain for effect in EFFECTS.values())
    assert grade(" ".join(TOUCH_RULES)) <= GRADE
    assert grade(cautions) <= GRADE


def test_no_single_sentence_is_hard() -> None:
    every = set(chain.from_iterable(sentences(made) for made in MADE))
    hard = {text for text in every if grade(text) > GRADE_OF_ONE_SENTENCE}
    assert hard == set()


def test_no_trade_word_reaches_the_client() -> None:
    every = chain.from_iterable([*sentences(made), *(s.place for s in made.steps)] for made in MADE)
    assert {text for text in every if TRADE_WORDS.search(text)} == set()


def test_every_step_says_where_how_and_why() -> None:
    for made in MADE:
        for step in made.steps:
            words = (step.place, step.direction, step.hand, step.position, step.why)
            assert all(words), step
            assert not any("{" in text or "None" in text for text in words), step
            assert step.minutes > 0


@pytest.mark.parametrize("side", Side)
def test_a_step_on_one_side_names_that_side(side: Side) -> None:
    world = territory_map()
    for situation in (one_arm(side), one_leg(side)):
        for step in plan(situation).steps:
            place = world.places[step.node] if step.node else None
            if place is None or place.side is None or step.also or len(step.path) > 2:
                continue
            assert place.side.label in step.place
            assert place.side.other.label not in step.place


@pytest.mark.parametrize("side", Side)
def test_an_armpit_is_worked_with_the_hand_of_the_other_side(side: Side) -> None:
    # RBA, NI: the free hand reaches across.
    for step in plan(one_arm(side)).steps:
        if step.node and step.node.startswith("axilla"):
            hand = territory_map().places[step.node].side
            assert hand is not None
            assert f"{hand.other.label} hand" in step.hand


def test_breathing_presses_lightly_on_the_out_breath() -> None:
    # Common practice, no source.
    breath = plan(one_arm()).steps[0]
    assert "breathe out, press lightly" in breath.direction


def test_easy_breathing_asks_for_no_press() -> None:
    breath = plan(one_arm(precautions=frozenset({Precaution.PREGNANCY}))).steps[0]
    assert breath.technique is Technique.EASY_BREATHING
    assert "Do not press" in breath.direction
    assert "off your belly" in breath.hand


def test_the_arm_is_propped_and_the_neck_is_done_with_the_head_raised() -> None:
    # Limb raised: common practice, no source. Head raised: LEG, BP06.
    by_node = {step.node: step for step in plan(one_arm()).steps}
    assert "above your heart" in by_node["forearm_R"].position
    assert "head raised" in by_node["cervical_L"].position


def test_the_touch_rules_say_what_the_leaflets_say() -> None:
    # LEG, NI, NZ: bare skin, no sliding, no oil or cream. BP06, NI: red skin or pain is too hard.
    rules = " ".join(TOUCH_RULES).lower()
    for words in ("bare skin", "do not slide", "no lotion", "lighter when in doubt", "pain"):
        assert words in rules


def test_a_step_on_the_back_asks_for_the_helper() -> None:
    made = plan(one_arm(options=Options(helper_available=True)))
    back = [step for step in made.steps if "back_" in " ".join(step.path)]
    assert back
    assert all(step.needs_helper and "helper" in step.hand for step in back)
    assert "Ask your helper to do the steps on your back." in made.client_notes


@pytest.mark.parametrize("made", MADE, ids=[scenario["id"] for scenario in SCENARIOS])
def test_steps_come_back_unchanged_from_their_rows(made: Plan) -> None:
    assert steps_of(rows_of(made.steps)) == made.steps


def test_a_local_precaution_is_told_to_the_client_in_plain_words() -> None:
    made = plan(one_arm(precautions=frozenset({Precaution.OVERACTIVE_THYROID})))
    assert "We skip the neck to keep you safe." in [one.plain for one in made.left_out]


def test_a_device_under_the_skin_is_told_to_the_client() -> None:
    # PORT: stay one hand breadth away.
    made = plan(one_arm(precautions=frozenset({Precaution.DEVICE_UNDER_SKIN})))
    assert any("one hand width away" in note for note in made.client_notes)
