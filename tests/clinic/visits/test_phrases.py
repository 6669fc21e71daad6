"""Phrases with blanks: filled, checked, and unable to reach anything else."""

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.visits.phrases import (
    BLANK,
    PLACEHOLDERS,
    BraceAlone,
    Filled,
    UnknownPlaceholder,
    check,
    fill,
    names_in,
)

PHRASE = "Excess {excess_ml}, {change} since {baseline_on}."
VALUES = {
    "excess_ml": "412 mL ± 60",
    "change": "down 130 mL ± 85",
    "baseline_on": "2 Mar 2026",
}
# Letters of plain text, braces left out.
WORDS = st.text(st.characters(exclude_characters="{}"), max_size=20)


def test_a_phrase_is_filled_with_the_clients_own_numbers() -> None:
    assert fill(PHRASE, VALUES) == Filled(
        "Excess 412 mL ± 60, down 130 mL ± 85 since 2 Mar 2026.", missing=()
    )


@pytest.mark.parametrize("unknown", [{}, {"change": None}, {"change": ""}], ids=str)
def test_a_value_not_known_is_a_blank_to_be_seen_and_is_reported(
    unknown: dict[str, str | None],
) -> None:
    known = {name: value for name, value in VALUES.items() if name != "change"}
    assert fill(PHRASE, known | unknown) == Filled(
        "Excess 412 mL ± 60, ____ since 2 Mar 2026.", missing=("change",)
    )


def test_a_name_used_twice_is_filled_twice_and_reported_once() -> None:
    assert fill("{limb}, {limb}", {"limb": "left arm"}).text == "left arm, left arm"
    assert fill("{limb}, {limb}", {}) == Filled(f"{BLANK}, {BLANK}", missing=("limb",))


def test_doubled_braces_are_braces() -> None:
    check("{{as typed}} {limb}")
    assert fill("{{as typed}} {limb}", {"limb": "left arm"}).text == "{as typed} left arm"
    assert fill("{{limb}}", {"limb": "left arm"}) == Filled("{limb}")
    assert fill("{{{limb}}}", {"limb": "left arm"}).text == "{left arm}"


def test_braces_in_a_value_are_no_blanks() -> None:
    filled = fill("{limb} {phase}", {"limb": "{phase} }{", "phase": "{limb}"})
    assert filled == Filled("{phase} }{ {limb}")


def test_spaces_inside_the_braces_do_no_harm() -> None:
    check("{ limb }")
    assert fill("{ limb }", {"limb": "left arm"}).text == "left arm"


def test_an_unknown_name_is_refused_together_with_the_known_ones() -> None:
    with pytest.raises(UnknownPlaceholder) as refused:
        check("{excess} of {limb}, {colour} {excess}")
    assert refused.value.names == ("excess", "colour")
    assert refused.value.known == tuple(PLACEHOLDERS)


@pytest.mark.parametrize(
    "reaching",
    [
        "{limb.__class__}",
        "{limb.__class__.__mro__[1].__subclasses__}",
        "{limb[0]}",
        "{limb!r}",
        "{limb:>99999999}",
        "{0}",
        "{}",
        "{__import__('os')}",
        "%(limb)s {Limb}",
    ],
)
def test_a_blank_reaches_no_attribute_index_or_format(reaching: str) -> None:
    with pytest.raises(UnknownPlaceholder):
        check(reaching)
    filled = fill(reaching, {"limb": "left arm", "": "empty", "0": "nought"})
    assert BLANK in filled.text
    assert "left arm" not in filled.text
    assert filled.missing


def test_other_ways_of_writing_a_blank_are_plain_text() -> None:
    check("%(limb)s $limb ${{limb}}")
    assert fill("%(limb)s $limb", {"limb": "left arm"}) == Filled("%(limb)s $limb")


@pytest.mark.parametrize(
    ("phrase", "position"), [("{limb", 1), ("limb}", 5), ("a {limb} }", 10), ("{ {limb}", 1)]
)
def test_a_brace_alone_is_refused_with_its_place_and_stays_when_filled(
    phrase: str, position: int
) -> None:
    with pytest.raises(BraceAlone) as refused:
        check(phrase)
    assert refused.value.position == position
    assert fill(phrase, {}).text == phrase.replace("{limb}", BLANK)


@given(st.lists(st.tuples(WORDS, st.sampled_from(sorted(PLACEHOLDERS)))))
def test_well_formed_phrases_fill_as_the_standard_library_would(
    pieces: list[tuple[str, str]],
) -> None:
    phrase = "".join(f"{words}{{{name}}}" for words, name in pieces)
    values = {name: f"<{name}>" for name in PLACEHOLDERS}
    check(phrase)
    assert fill(phrase, values).text == string.Formatter().vformat(phrase, (), values)


@given(st.text(max_size=60), st.dictionaries(st.sampled_from(sorted(PLACEHOLDERS)), st.text()))
def test_whatever_was_typed_fills_without_an_error(phrase: str, values: dict[str, str]) -> None:
    filled = fill(phrase, values)
    assert set(filled.missing) <= set(names_in(phrase))


@given(WORDS)
def test_text_without_braces_stays_as_it_is(words: str) -> None:
    assert fill(words, VALUES) == Filled(words)


@pytest.mark.parametrize("name", PLACEHOLDERS)
def test_every_known_blank_is_a_plain_word_with_a_meaning(name: str) -> None:
    assert name.isidentifier()
    assert PLACEHOLDERS[name]
    check(f"{{{name}}}")
