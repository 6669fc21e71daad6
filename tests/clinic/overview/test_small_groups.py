"""Nobody can work a hidden count out, even who knows every rule by which it was hidden."""

from collections import defaultdict
from itertools import product

import pytest

from clinic.overview.small_groups import Hidden, Parts, joined, middle, parts, share

# Washington State Department of Health, small numbers publishing guidelines (as quoted in a county
# health record, records.co.kittitas.wa.us 4358658, page 28): suppress non-zero counts below the
# limit, shares made from them, and what they can be recalculated from by subtraction.


@pytest.mark.parametrize(("number", "text"), [(0, "0"), (1, "<5"), (4, "<5"), (5, "5")])
def test_counts_of_one_to_four_are_hidden(number: int, text: str) -> None:
    assert parts([number]).cells[0].text == text


def test_every_hidden_count_could_be_any_of_one_to_four() -> None:
    """All tables of three counts, grouped by all that is published of them."""
    seen = defaultdict(set)
    for numbers in product(range(8), repeat=3):
        told = parts(numbers)
        published = (told, *(share(told, place) for place in range(3)))
        seen[published].add(numbers)
    for (told, *_), tables in seen.items():
        for place, cell in enumerate(told.cells):
            possible = {numbers[place] for numbers in tables}
            assert possible == ({1, 2, 3, 4} if cell.hidden else {cell.value})


def test_a_total_with_a_small_part_is_the_range_of_what_is_shown() -> None:
    told = parts([20, 3, 0, 2])
    assert [cell.text for cell in told.cells] == ["20", "<5", "0", "<5"]
    assert told.total.text == "22 to 28"
    assert told.total.hidden is Hidden.RANGE
    assert parts([20, 0, 7]).total.text == "27"


def test_a_hidden_total_stays_hidden_where_it_is_a_part_again() -> None:
    """Visits by purpose with one of a small group; missed ones beside their sum."""
    kept = parts([90, 3]).total
    due = joined([parts([12]).cells[0], kept])
    assert due.total.text == "103 to 106"
    no_shows = share(due)
    assert no_shows.percent is None
    assert no_shows.lowest == pytest.approx(100 * 12 / 106)
    assert no_shows.highest == pytest.approx(100 * 12 / 103)


def test_a_share_of_a_small_group_says_only_what_the_counts_shown_allow() -> None:
    few = share(parts([3, 96]))
    assert few.percent is None
    assert (few.lowest, few.highest) == (100 * 1 / 97, 100 * 4 / 100)
    whole: Parts = parts([12, 36])
    assert share(whole).percent == 25
    assert share(whole, 1).percent == 75
    assert share(parts([1, 1])).lowest is None
    assert share(parts([0, 0])).lowest is None


def test_a_median_needs_five_people_and_its_bounds_nine() -> None:
    values = [float(each) for each in range(1, 10)]
    assert middle(values[:4], people=4).median is None
    assert middle(values, people=4).median is None  # nine limbs of four people
    assert middle(values[:8], people=8).median == 4.5
    assert middle(values[:8], people=8).interval is None
    told = middle(values, people=9)
    assert told.interval
    assert (told.interval.low, told.interval.high) == (2, 8)  # never the smallest or largest


def test_a_median_given_or_not_tells_nothing_of_a_hidden_count() -> None:
    """All limbs of two outcomes, one a person, grouped by what is published of them."""
    seen = defaultdict(set)
    for numbers in product(range(12), repeat=2):
        told = parts(numbers)
        values = [float(each) for each in range(sum(numbers))]
        found = middle(values, people=len(values), count=told.total)
        given = (found.median is None, found.interval is None, found.quartiles is None)
        seen[told, given].add(numbers)
    for (told, _), tables in seen.items():
        for place, cell in enumerate(told.cells):
            possible = {numbers[place] for numbers in tables}
            assert possible == ({1, 2, 3, 4} if cell.hidden else {cell.value})
