"""The registry of instruments, their ranges, and scores at the edge of the missing-item rule."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinic.common.vocabulary import Side
from measurements.limb import outcome
from measurements.limb.instruments import (
    ALL_SPECS,
    SPECS,
    Instrument,
    Part,
    check_decimals,
    check_score,
)
from measurements.limb.outcome import DASH_RULE, QUICKDASH_RULE, ItemRule, item_score
from measurements.limb.score_errors import (
    ActivitiesMiscounted,
    AnswerImpossible,
    AnswersMiscounted,
    PlaceUnknown,
    RatingsIncomplete,
    ScoreOutOfRange,
    ScoreTooFine,
    TooManyMissing,
    TrialsIncomplete,
)
from measurements.limb.thresholds import Mark
from tests.measurements.limb.limbs import WORKED

ANSWERS = st.one_of(st.none(), st.integers(1, 5))
RULES = st.sampled_from([DASH_RULE, QUICKDASH_RULE])


# The missing-item rule


@pytest.mark.parametrize(
    "case_id", ["quickdash-all-1", "quickdash-all-5", "quickdash-mixed", "quickdash-one-missing"]
)
def test_items_give_the_worked_score(case_id: str) -> None:
    """Gummesson et al., BMC Musculoskelet Disord 2006;7:44."""
    case = WORKED[case_id]
    found = item_score(case["inputs"]["items"], QUICKDASH_RULE)
    assert found == pytest.approx(case["expected"]["score"], abs=case["tolerance"]["abs"])


def test_two_of_eleven_missing_give_no_score() -> None:
    """Gummesson et al., BMC Musculoskelet Disord 2006;7:44: at least 10 of 11."""
    with pytest.raises(TooManyMissing) as refused:
        item_score(WORKED["quickdash-two-missing"]["inputs"]["items"], QUICKDASH_RULE)
    assert (refused.value.answered, refused.value.needed) == (9, 10)


@given(st.data(), RULES)
def test_a_score_exists_exactly_while_enough_items_are_answered(
    data: st.DataObject, rule: ItemRule
) -> None:
    """At least 27 of 30 (BMC Musculoskelet Disord 2003;4:11), 10 of 11 (2006;7:44)."""
    items = data.draw(st.lists(ANSWERS, min_size=rule.items, max_size=rule.items))
    answered = [item for item in items if item is not None]
    if len(answered) < rule.needed:
        with pytest.raises(TooManyMissing):
            item_score(items, rule)
    else:
        expected = (sum(answered) / len(answered) - 1) * 25
        assert item_score(items, rule) == pytest.approx(expected)
        assert 0 <= item_score(items, rule) <= 100


@given(RULES, st.integers(1, 5), st.integers(0, 29))
def test_a_missing_answer_like_the_mean_of_the_others_changes_nothing(
    rule: ItemRule, answer: int, at: int
) -> None:
    """The formula divides by the answered: ((sum / n) - 1) * 25."""
    full = [answer] * rule.items
    gap = [None if place == at % rule.items else answer for place in range(rule.items)]
    assert item_score(gap, rule) == pytest.approx(item_score(full, rule))


@given(RULES, st.integers(0, 60))
def test_a_wrong_count_of_answers_is_refused(rule: ItemRule, count: int) -> None:
    if count == rule.items:
        return
    with pytest.raises(AnswersMiscounted):
        item_score([3] * count, rule)


@pytest.mark.parametrize("answer", [-1, 0, 6, 55])
def test_an_answer_that_is_not_offered_is_named_by_its_item(answer: int) -> None:
    """issh.org: each item is scored from 1 to 5."""
    with pytest.raises(AnswerImpossible) as refused:
        item_score([3, 3, answer, *[3] * 8], QUICKDASH_RULE)
    assert refused.value.number == 3


def test_other_scores_need_all_their_numbers() -> None:
    with pytest.raises(RatingsIncomplete):
        outcome.pain_score([3, 4])
    with pytest.raises(ActivitiesMiscounted):
        outcome.function_score([3, 4])
    with pytest.raises(ActivitiesMiscounted):
        outcome.function_score([3] * 6)
    with pytest.raises(TrialsIncomplete):
        outcome.grip_score([24.0, 25.0], Side.LEFT)


def test_means_are_those_of_the_worked_examples() -> None:
    """Michener et al. 2011; PSFS as printed on a clinic form."""
    pain, function = WORKED["nprs-shoulder-mcid"], WORKED["psfs-average"]
    assert outcome.pain_score(pain["inputs"]["baseline"]) == pytest.approx(
        pain["expected"]["baseline_mean"], abs=0.001
    )
    assert outcome.function_score(function["inputs"]["followup"]) == pytest.approx(
        function["expected"]["followup_average"], abs=0.001
    )
    assert outcome.grip_score([24, 25, 29], Side.LEFT) == 26


# The registry


def test_every_instrument_stands_once_in_the_registry() -> None:
    assert [spec.instrument for spec in ALL_SPECS] == list(Instrument)


@pytest.mark.parametrize("spec", ALL_SPECS, ids=lambda spec: spec.instrument)
def test_every_instrument_names_its_rule_its_source_and_a_sensible_range(spec) -> None:
    assert spec.rule
    assert spec.source
    assert 0 <= spec.lowest < spec.highest
    for limits in spec.limits.values():
        for limit in filter(None, (limits.matters, limits.beyond_error)):
            assert limit.source
            assert 0 < limit.value < 100


def test_the_limits_are_those_in_print() -> None:
    """measured in points: issh.org (DASH 10, QuickDASH 14); Lymphology 2015 (7.31, 11.53); Rehabil
    Oncol 2018 (7.27, 12.74); J Sport Rehabil 2011 (2.17); JOSPT 2014 (1.5, 1.3); BMC Musculoskelet
    Disord 2017;18:248 (11.8)."""
    printed = {
        (Instrument.DASH, None): (10, 11.8),
        (Instrument.LLIS_1, None): (7.31, 11.53),
        (Instrument.LLIS_2, None): (7.27, 12.74),
        (Instrument.PAIN, Part.MEAN): (2.17, None),
        (Instrument.PAIN, Part.NOW): (1.5, None),
        (Instrument.FUNCTION, None): (1.3, 2),
    }
    for (instrument, part), (matters, error) in printed.items():
        limits = SPECS[instrument].limits_for(part)
        assert limits.matters.value == matters
        assert (limits.beyond_error.value if limits.beyond_error else None) == error
    assert SPECS[Instrument.QUICKDASH].limits_for(None).matters.value == 14


def test_limits_from_memory_say_so() -> None:
    """From memory, not re-read: QuickDASH 11 to 13, goniometer 5 to 10 degrees, grip 5 to 6.5."""
    for instrument in (Instrument.QUICKDASH, Instrument.SHOULDER):
        assert SPECS[instrument].limits_for(None).beyond_error.mark is Mark.MEMORY
    assert SPECS[Instrument.GRIP].limits_for(None).matters.mark is Mark.MEMORY


@pytest.mark.parametrize("instrument", [Instrument.IMPEDANCE, Instrument.TISSUE_WATER])
def test_where_no_smallest_change_is_known_there_is_none(instrument: Instrument) -> None:
    for part in SPECS[instrument].parts:
        assert SPECS[instrument].limits_for(part).matters is None
        assert SPECS[instrument].limits_for(part).beyond_error is None
    assert any("No smallest change" in note for note in SPECS[instrument].notes)


def test_displaced_volume_has_the_error_of_its_method() -> None:
    """1.96 x sqrt(2) x SEM: 3 mL (de Carvalho) is 8.3155; 3.6 % (Hidding 2016) is 9.9786."""
    spec = SPECS[Instrument.DISPLACED]
    assert spec.limits_for(Part.HAND).beyond_error.at(500) == pytest.approx(8.3155, abs=1e-4)
    assert spec.limits_for(Part.ARM).beyond_error.at(2000) == pytest.approx(199.57, abs=0.01)
    assert spec.limits_for(Part.LEG).beyond_error is None


@given(st.sampled_from(ALL_SPECS), st.floats(-1e6, 1e6))
def test_only_scores_inside_the_range_are_let_through(spec, score: float) -> None:
    side = Side.LEFT if spec.is_per_side else None
    part = spec.parts[0] if spec.parts else None
    if spec.lowest <= score <= spec.highest_for(part):
        check_score(spec, score, side=side, part=part)
    else:
        with pytest.raises(ScoreOutOfRange):
            check_score(spec, score, side=side, part=part)


def test_a_score_needs_the_side_and_part_of_its_instrument() -> None:
    for instrument, side, part in (
        (Instrument.GRIP, None, None),
        (Instrument.DASH, Side.LEFT, None),
        (Instrument.SHOULDER, Side.LEFT, None),
        (Instrument.SHOULDER, Side.LEFT, Part.HAND),
        (Instrument.GRIP, Side.LEFT, Part.HAND),
    ):
        with pytest.raises(PlaceUnknown):
            check_score(SPECS[instrument], 20, side=side, part=part)


def test_numbers_finer_than_the_instrument_are_refused() -> None:
    check_decimals(SPECS[Instrument.GRIP], 24.3)
    with pytest.raises(ScoreTooFine):
        check_decimals(SPECS[Instrument.GRIP], 24.35)
    with pytest.raises(ScoreTooFine):
        check_decimals(SPECS[Instrument.PAIN], 3.5)
