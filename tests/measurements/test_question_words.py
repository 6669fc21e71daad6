"""A question never gives as expected what it asks about."""

import re
from math import ceil, floor

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.common.vocabulary import Side
from measurements.limb.plausibility import Question, QuestionKind
from measurements.limb.units import LengthUnit
from measurements.limb.usual_girths import Range
from measurements.sentences import question_sentence

NUMBER = r"\d+\.\d+"


def asked(value: float, low: float, high: float, kind: QuestionKind) -> Question:
    return Question(Side.LEFT, 16, kind, value, Range(low, high))


# Kind, unit and how far apart two numbers typed in it can be.
SCALES = [
    (QuestionKind.SESSION_JUMP, LengthUnit.CENTIMETRE, 0.1),
    (QuestionKind.SESSION_JUMP, LengthUnit.INCH, 0.0254),
    (QuestionKind.UNUSUAL_RATIO, LengthUnit.CENTIMETRE, 0.01),
]
THOUSANDTHS = st.integers(10_000, 60_000)


@pytest.mark.parametrize("scale", SCALES)
@given(low=THOUSANDTHS, width=THOUSANDTHS, marks=st.integers(1, 90))
def test_what_was_typed_reads_as_outside_wherever_the_limits_lie_between_two_marks(
    scale: tuple, low: int, width: int, marks: int
) -> None:
    kind, unit, step = scale
    limits = (low / 1000, (low + width) / 1000)
    first, last = (round(limit / step, 6) for limit in limits)
    told, least, most = numbers(asked((ceil(first) - marks) * step, *limits, kind), unit)
    assert told < least < most
    told, least, most = numbers(asked((floor(last) + marks) * step, *limits, kind), unit)
    assert least < most < told


def numbers(question: Question, unit: LengthUnit) -> list[float]:
    return [float(each) for each in re.findall(NUMBER, question_sentence(question, unit))]


def test_a_girth_just_below_what_is_expected_reads_as_below_it() -> None:
    question = asked(20.0, 20.04, 39.16, QuestionKind.SESSION_JUMP)
    said = question_sentence(question).replace("\u202f", " ")
    assert said.startswith("20.0 cm is ")
    assert said.endswith("(expected 20.1 cm to 39.1 cm).")
