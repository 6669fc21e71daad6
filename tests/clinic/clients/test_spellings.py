"""Days in the spellings people use, and search words in any order."""

from datetime import date

import pytest

from clinic.clients.spellings import read_day, read_search

FOURTH_OF_MARCH = date(1961, 3, 4)
SPELLINGS = [
    "1961-03-04",
    "3/4/1961",
    "03/04/1961",
    "4 Mar 1961",
    "04 mar 1961",
    "4 March 1961",
    "Mar 4, 1961",
    "March 4 1961",
    "  4   Mar  1961 ",
]


@pytest.mark.parametrize("spelling", SPELLINGS)
def test_a_day_is_read_in_every_usual_spelling(spelling: str) -> None:
    assert read_day(spelling) == FOURTH_OF_MARCH


@pytest.mark.parametrize("text", ["", "13/13/1961", "31 Feb 1961", "4 Mrz 1961", "1961", "soon"])
def test_what_spells_no_day_is_none(text: str) -> None:
    assert read_day(text) is None


@pytest.mark.parametrize("spelling", SPELLINGS)
def test_a_day_is_found_among_name_parts(spelling: str) -> None:
    wanted = read_search(f"marg {spelling} Ång")
    assert (wanted.name_parts, wanted.number_parts) == (("marg", "Ång"), ())
    assert wanted.born_on == FOURTH_OF_MARCH


def test_a_word_with_a_digit_is_a_record_number() -> None:
    wanted = read_search("T00012, farrow")
    assert (wanted.number_parts, wanted.name_parts) == (("T00012",), ("farrow",))


def test_an_impossible_day_finds_nobody_rather_than_everybody() -> None:
    assert read_search("31 Feb 1961").number_parts == ("31", "1961")
