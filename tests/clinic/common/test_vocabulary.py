"""The shared words."""

import inspect

import pytest

from clinic.common import vocabulary
from clinic.common.vocabulary import Side, Word

WORDS = [
    kind
    for _, kind in inspect.getmembers(vocabulary, inspect.isclass)
    if issubclass(kind, Word) and kind is not Word
]


@pytest.mark.parametrize("kind", WORDS, ids=lambda kind: kind.__name__)
def test_every_word_has_a_label_of_its_own_and_is_its_stored_value(kind: type[Word]) -> None:
    assert all(word.label for word in kind)
    assert len({word.label for word in kind}) == len(kind)
    assert all(kind(str(word)) is word for word in kind)


def test_the_other_side_of_the_other_side_is_the_side() -> None:
    assert {side.other.other for side in Side} == set(Side)
    assert Side.LEFT.other is Side.RIGHT
