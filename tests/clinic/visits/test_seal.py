"""Seals against hashlib, json and the published examples of RFC 8785."""

import hashlib
import json
from decimal import Decimal
from enum import StrEnum
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.visits.seal import NotSealable, canonical_bytes, is_intact, seal_of

NOTE = {
    "visited_on": "2026-03-02",
    "subjective": "Heavy since Sunday; sleeve ‘too tight’ at the wrist.",
    "treatments": [{"code": "97140", "minutes": 45}, {"code": "97535", "minutes": 10}],
    "excess_ml": "412.50",
    "is_late_entry": False,
    "cosigned_by": None,
}

# RFC 8785, 3.2.3: the keys of the example by their values, in the order it prints. Read on pages
# that reproduce the RFC.
RFC_8785_KEYS = {
    "\u20ac": "Euro Sign",
    "\r": "Carriage Return",
    "\ufb33": "Hebrew Letter Dalet With Dagesh",
    "1": "One",
    "\U0001f600": "Emoji: Grinning Face",
    "\u0080": "Control",
    "\u00f6": "Latin Small Letter O With Diaeresis",
}
RFC_8785_ORDER = [
    "Carriage Return",
    "One",
    "Control",
    "Latin Small Letter O With Diaeresis",
    "Euro Sign",
    "Emoji: Grinning Face",
    "Hebrew Letter Dalet With Dagesh",
]

# Without surrogates, within 53 bits, and keys without astral letters, so that the key order of
# json.dumps, by code point, is that of the RFC too.
LETTERS = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
KEYS = st.text(st.characters(max_codepoint=0xD7FF), max_size=6)
PLAIN = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | LETTERS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=4),
    max_leaves=12,
)
CONTENT = st.dictionaries(KEYS, PLAIN, max_size=5)


def dumped(content: dict[str, Any]) -> bytes:
    return json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":")).encode()


def test_a_seal_is_the_sha_256_of_a_version_line_and_the_sorted_json() -> None:
    expected = hashlib.sha256(b"ebbline signed content 1\n" + dumped(NOTE)).hexdigest()
    assert seal_of(NOTE) == expected
    assert len(expected) == 64


@given(CONTENT)
def test_the_bytes_are_those_of_json_dumps_with_sorted_keys(content: dict[str, Any]) -> None:
    assert canonical_bytes(content) == dumped(content)


# RFC 8785, 3.2.2 and 3.2.4: the string and the literals of the example; its numbers do not apply,
# for they are floats. Read on pages that reproduce the RFC.
def test_the_rfc_8785_example_without_its_numbers_comes_out_as_printed() -> None:
    typed = r"""{"string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
                 "literals": [null, true, false]}"""
    printed = r"""{"literals":[null,true,false],"string":"€$\u000f\nA'B\"\\\\\"/"}"""
    assert canonical_bytes(json.loads(typed)) == printed.encode()


def test_the_rfc_8785_keys_come_out_in_the_order_of_utf_16() -> None:
    assert list(json.loads(canonical_bytes(RFC_8785_KEYS)).values()) == RFC_8785_ORDER


# The author's published test files of RFC 8785 (github.com/cyberphone/json-canonicalization,
# testdata), arrays, structures and unicode; 56.0 of structures is written as 56 here. Inputs read
# on a page that reproduces them, outputs from memory, not re-read.
@pytest.mark.parametrize(
    ("content", "printed"),
    [
        ({"a": [56, {"d": True, "10": None, "1": []}]}, '{"a":[56,{"1":[],"10":null,"d":true}]}'),
        (
            {
                "1": {"f": {"f": "hi", "F": 5}, "\n": 56},
                "10": {},
                "": "empty",
                "a": {},
                "111": [{"e": "yes", "E": "no"}],
                "A": {},
            },
            r'{"":"empty","1":{"\n":56,"f":{"F":5,"f":"hi"}},"10":{},"111":[{"E":"no","e":"yes"}],'
            r'"A":{},"a":{}}',
        ),
        ({"Unnormalized Unicode": "A\u030a"}, '{"Unnormalized Unicode":"A\u030a"}'),
    ],
    ids=["arrays", "structures", "unicode"],
)
def test_the_rfc_8785_authors_test_files_come_out_as_printed(
    content: dict[str, Any], printed: str
) -> None:
    assert canonical_bytes(content) == printed.encode()


def test_letters_stay_as_typed_and_are_not_normalised() -> None:
    composed, apart = {"name": "\u00e9"}, {"name": "e\u0301"}
    assert seal_of(composed) != seal_of(apart)


@given(CONTENT, st.randoms(use_true_random=False))
def test_the_order_of_keys_changes_no_seal(content: dict[str, Any], chance: Random) -> None:
    items = list(content.items())
    chance.shuffle(items)
    assert seal_of(dict(items)) == seal_of(content)


@given(CONTENT)
def test_content_read_back_from_json_has_the_same_seal(content: dict[str, Any]) -> None:
    assert is_intact(json.loads(json.dumps(content)), seal=seal_of(content))


@pytest.mark.parametrize(
    "change",
    [
        {"subjective": NOTE["subjective"] + " "},
        {"excess_ml": "412.5"},
        {"is_late_entry": True},
        {"is_late_entry": 0},
        {"cosigned_by": ""},
        {"treatments": NOTE["treatments"][::-1]},
        {"added": None},
    ],
    ids=str,
)
def test_any_change_breaks_the_seal(change: dict[str, Any]) -> None:
    seal = seal_of(NOTE)
    assert is_intact(NOTE, seal=seal)
    assert not is_intact(NOTE | change, seal=seal)


def test_a_decimal_is_written_as_text_with_the_digits_it_has() -> None:
    assert canonical_bytes({"excess_ml": Decimal("412.50")}) == b'{"excess_ml":"412.50"}'
    assert seal_of({"a": Decimal("1.0")}) != seal_of({"a": Decimal("1.00")})


def test_tuples_and_words_are_written_as_lists_and_text() -> None:
    word = StrEnum("Word", {"DRAFT": "draft"}).DRAFT
    assert canonical_bytes({"states": (word, 1)}) == b'{"states":["draft",1]}'


@pytest.mark.parametrize(
    "value",
    [
        1.0,
        float("nan"),
        Decimal("NaN"),
        2**53,
        -(2**53),
        b"bytes",
        {"a set"},
        object(),
        "\ud800",
        {1: "a number as key"},
        {"\udc00": "half a pair as key"},
    ],
    ids=lambda value: type(value).__name__,
)
def test_what_readers_may_not_understand_alike_is_refused_with_its_place(value: object) -> None:
    with pytest.raises(NotSealable) as refused:
        seal_of({"treatments": [{}, {"minutes": value}]})
    assert refused.value.path.startswith("treatments[1].minutes")
    assert not is_intact({"minutes": value}, seal="0" * 64)
