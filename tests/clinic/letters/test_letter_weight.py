"""Both limbs affected: what a letter says of weight, in its first sentence and its table."""

from dataclasses import replace

import pytest

from clinic.common.vocabulary import Limb, Phase
from clinic.letters import pdf
from clinic.letters.clauses import News, clauses
from clinic.letters.numbers import number_table
from clinic.letters.story import has_news, story_of
from clinic.letters.story_words import Story
from clinic.letters.summary import LimbNumbers, Measured, Weighed, shift
from clinic.letters.wording import BOTTOM_LINE_LENGTH, bottom_line, has_worsened
from measurements.limb.comparison import Judged, Verdict, WeightSays
from tests.cast import Cast
from tests.clinic.letters.test_letter_pdf import read, sheet_of
from tests.clinic.letters.test_wording import BASELINE_ON, LAST_ON, NOW_ON, look, summary

THIN = "\N{NARROW NO-BREAK SPACE}"
KEPT = {"phase": Phase.MAINTENANCE, "last_letter_on": LAST_ON}


def seen(name: str, on, ml: float, kg: float | None):
    """Both legs of one volume, each with 1 % of error."""
    both = Measured(ml, ml / 100)
    return replace(
        look(name, on, 0), left=both, right=both, excess=None, percent=None, weight_kg=kg
    )


def legs(*looks: tuple[float, float | None]) -> LimbNumbers:
    """Baseline, perhaps the last letter, and now: (mL, kg)."""
    names = [("baseline", BASELINE_ON), ("last", LAST_ON), ("now", NOW_ON)]
    kept = names if len(looks) == 3 else [names[0], names[2]]
    points = tuple(seen(*name, *each) for name, each in zip(kept, looks, strict=True))
    return LimbNumbers(
        limb=Limb.LEG,
        affected_side=None,
        is_bilateral=True,
        now=points[-1],
        last=points[1] if len(points) == 3 else None,
        baseline=points[0],
        points=points,
        protocol="Leg, 4 cm",
        start_landmark="lateral malleolus",
        from_cm=0,
        to_cm=68,
        is_shorter=False,
        rose_suddenly=False,
        cautions=(),
    )


def line(numbers: LimbNumbers, **differences: object) -> str:
    return bottom_line(summary(numbers, **differences)).replace(THIN, " ")


def test_a_fall_that_does_not_hold_beside_weight_is_not_called_better() -> None:
    """8,000 to 7,520 mL is 6 % less; the person lost 8 %: WAC 0.94 / 0.92 - 1 = +2.2 % [memory]."""
    told = line(legs((8000, 80.0), (7520, 73.6)))
    assert told.startswith("Unchanged when adjusted for weight: the volume of the left leg has")
    assert "480 mL since 5 Jan 2026, far more than measurement error" in told
    assert "but not when adjusted (weight down 8.0 %)" in told
    assert told.endswith("No action needed from you.")
    assert story_of(summary(legs((8000, 80.0), (7520, 73.6)), **KEPT)) is Story.STEADY


def test_a_rise_that_does_not_hold_beside_weight_is_not_called_worse() -> None:
    risen = summary(legs((8000, 80.0), (8000, 80.0), (8640, 86.4)), **KEPT)
    assert {each.news for each in clauses(risen)} == {News.WITH_WEIGHT}
    assert not has_worsened(risen)
    assert not has_news(replace(risen, phase_since_on=BASELINE_ON))
    assert "has risen by 640 mL since the last letter" in bottom_line(risen).replace(THIN, " ")


def test_what_holds_when_adjusted_for_weight_says_so_and_by_how_much_weight_changed() -> None:
    told = line(legs((8000, 80.0), (7200, 78.4)))
    assert told.startswith("Better: the volume of the left leg has fallen by 800 mL")
    assert told.count("also when adjusted (weight down 2.0 %)") == 1
    assert "right leg" in told
    assert len(told) <= BOTTOM_LINE_LENGTH


def test_where_weight_stayed_it_is_said() -> None:
    told = line(legs((8000, 80.0), (7200, 80.0)))
    assert "also when adjusted (weight unchanged)" in told


@pytest.mark.parametrize("kg", [(None, 78.0), (80.0, None), (None, None)])
def test_without_a_weight_the_letter_says_that_it_was_not_taken_into_account(
    kg: tuple[float | None, float | None],
) -> None:
    numbers = legs((8000, kg[0]), (7200, kg[1]))
    told = line(numbers)
    assert told.startswith("Better: ")
    assert "weight not taken into account" in told
    assert number_table(numbers).caption.endswith("where it is missing, was not taken into account")


def test_a_limb_that_did_not_follow_a_fall_of_weight_is_steady_and_said_not_to_follow() -> None:
    told = line(legs((8000, 80.0), (8000, 72.0)))
    assert told.startswith("Unchanged: ")
    assert "but larger when adjusted (weight down 10.0 %)" in told


def test_early_swelling_is_not_found_where_weight_rose_as_much() -> None:
    watched = {"phase": Phase.SURVEILLANCE}
    assert story_of(summary(legs((8000, 80.0), (8640, 80.0)), **watched)) is Story.EARLY_DETECTION
    assert story_of(summary(legs((8000, 80.0), (8640, 86.4)), **watched)) is Story.STEADY


def test_a_change_that_holds_against_baseline_is_told_before_one_that_does_not() -> None:
    """9,000, 8,000, 7,520 mL at 80, 80, 73.6 kg: 0.836 / 0.92 - 1 = -9.2 % since baseline."""
    told = line(legs((9000, 80.0), (8000, 80.0), (7520, 73.6)))
    assert told.startswith("Unchanged since the last letter, better than at baseline: the volume")
    assert "1,480 mL since 5 Jan 2026" in told


def test_the_table_shows_the_change_of_the_tape_and_the_one_adjusted_for_weight() -> None:
    table = number_table(legs((8000, 80.0), (7520, 73.6)))
    rows = {row.label: row for row in table.rows}
    assert table.caption.endswith("each is set against its own baseline and against body weight")
    (taped,), (adjusted,) = (
        rows[name].changes for name in ("Right leg", "Right leg, adjusted for weight")
    )
    assert taped
    assert (taped.value, taped.verdict) == (pytest.approx(-480), Verdict.BEYOND_ERROR_DOWN)
    assert adjusted
    assert (adjusted.value, adjusted.verdict) == (
        pytest.approx(100 * (0.94 / 0.92 - 1)),
        Verdict.WITHIN_ERROR,
    )
    assert [cell.value for cell in rows["Body weight"].cells if cell] == [80.0, 73.6]


def test_a_table_without_weights_has_no_adjusted_row() -> None:
    labels = [row.label for row in number_table(legs((8000, None), (7520, None))).rows]
    assert labels == ["Right leg", "Left leg"]


def test_a_shift_of_weighed_volumes_keeps_the_numbers_of_the_tape() -> None:
    now, then = Measured(7520, 75.2), Measured(8000, 80)
    plain, beside = (
        shift(now, then),
        shift(Weighed(7520, 75.2, 73.6), Weighed(8000, 80, 80.0)),
    )
    assert isinstance(plain, Judged)
    assert beside
    assert (beside.value, beside.error) == (plain.value, plain.error)
    assert plain.verdict is Verdict.BEYOND_ERROR_DOWN
    assert beside.verdict is Verdict.WITHIN_ERROR
    assert beside.weight_says is WeightSays.FAILS


def test_a_letter_of_both_legs_prints_both_changes_on_one_page(cast: Cast) -> None:
    text = " ".join(read(pdf.letter_pdf(sheet_of("bilateral", cast))).split())
    assert "Right leg, adjusted for weight" in text
    assert "and against body weight" in text
    assert "page 1 of 1" in text
