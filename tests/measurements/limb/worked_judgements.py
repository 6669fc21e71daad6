"""How each worked example about changes, limits and scores is checked, by its id."""

from itertools import pairwise
from typing import Any

import pytest

from measurements.limb import outcome
from measurements.limb.course import decongestion_curve
from measurements.limb.ratios import (
    excess_percent,
    excess_reduction,
    relative_volume_change,
    volume_change_percent,
    weight_adjusted_change,
    whole_limb_reduction,
)
from measurements.limb.thresholds import (
    ARMER_STEWART_2005,
    RULES,
    STOUT_2008,
    Criterion,
    DominanceLimit,
    ctcae_edema_limbs_grade,
    dominance_band,
    impedance_ratio_is_raised,
    reference_limits,
    severity_band,
)
from tests.measurements.limb.worked_volumes import example


@example("rvc-basic", "rvc-both-arms-grow-equally", "rvc-asymmetric-baseline")
def relative_change(inputs: Any, expected: Any, tolerance: Any) -> None:
    a1, u1, a2, u2 = (inputs[f"{name}_ml"] for name in ("A1", "U1", "A2", "U2"))
    close = {"abs": tolerance["abs_pct"]}
    rvc = relative_volume_change(a1_ml=a1, u1_ml=u1, a2_ml=a2, u2_ml=u2)
    now = excess_percent(affected_ml=a2, other_ml=u2)
    found = {
        "rvc_percent": rvc,
        "absolute_change_affected_ml": a2 - a1,
        "excess_percent_now_ignoring_baseline": now,
        "excess_percent": now,
    }
    assert {name: found[name] for name in expected} == pytest.approx(expected, **close)


@example("ancukiewicz2012-200ml-smallest", "ancukiewicz2012-200ml-largest")
def two_hundred_millilitres(inputs: Any, expected: Any, tolerance: Any) -> None:
    baseline = inputs["baseline_ml"]
    found = volume_change_percent(now_ml=baseline + inputs["change_ml"], baseline_ml=baseline)
    assert found == pytest.approx(expected["percent"], abs=0.001)
    assert found == pytest.approx(expected["published_rounded"], abs=tolerance["abs_pct"])


@example("wac-basic")
def weight_adjusted(inputs: Any, expected: Any, tolerance: Any) -> None:
    """From memory, not re-read: Miller et al., Lymphology 2013;46:64-74."""
    a1, a2, w1, w2 = (inputs[name] for name in ("A1_ml", "A2_ml", "W1_kg", "W2_kg"))
    found = weight_adjusted_change(a1_ml=a1, w1_kg=w1, a2_ml=a2, w2_kg=w2)
    assert found == pytest.approx(expected["wac_percent"], abs=tolerance["abs_pct"])


@example("excess-reduction")
def two_reductions(inputs: Any, expected: Any, tolerance: Any) -> None:
    before, after = inputs["pre_affected_ml"], inputs["post_affected_ml"]
    excess_before = before - inputs["pre_unaffected_ml"]
    excess_after = after - inputs["post_unaffected_ml"]
    found = {
        "excess_pre_ml": excess_before,
        "excess_post_ml": excess_after,
        "volume_reduction_ml": excess_before - excess_after,
        "percent_reduction_of_excess": excess_reduction(
            before_ml=excess_before, after_ml=excess_after
        ),
        "percent_reduction_of_whole_limb": whole_limb_reduction(before_ml=before, after_ml=after),
    }
    assert found == pytest.approx(expected, abs=tolerance["abs_pct"])


@example("excess-reduction-to-overcorrection", "excess-reduction-undefined")
def reduction_of_excess(inputs: Any, expected: Any, tolerance: Any) -> None:
    found = excess_reduction(before_ml=inputs["excess_pre_ml"], after_ml=inputs["excess_post_ml"])
    printed = expected["percent_reduction_of_excess"]
    assert found is None if printed is None else found == pytest.approx(printed, abs=1e-9)


@example("rounding-rule")
def classify_first(inputs: Any, expected: Any, tolerance: Any) -> None:
    found = excess_percent(affected_ml=inputs["affected_ml"], other_ml=inputs["unaffected_ml"])
    assert found == pytest.approx(expected["excess_percent"], abs=tolerance["abs_pct"])
    assert f"{found:.1f} %" == expected["display"]
    is_reached = RULES[Criterion.EXCESS_10_PERCENT].is_met_by(found)
    assert is_reached is expected["reaches_10_percent"]


@example(*(f"tdc-threshold-{number}" for number in range(1, 7)))
def tissue_water_limit(inputs: Any, expected: Any, tolerance: Any) -> None:
    _, upper = reference_limits(mean=inputs["mean"], sd=inputs["sd"], k=inputs["k"])
    assert upper == pytest.approx(expected["threshold"], abs=0.0006)
    assert upper == pytest.approx(expected["published"], abs=tolerance["abs"])


@example("bis-inter-arm-3sd", "bis-inter-leg-3sd")
def impedance_limits(inputs: Any, expected: Any, tolerance: Any) -> None:
    lower, upper = reference_limits(mean=inputs["mean"], sd=inputs["sd"], k=inputs["k"])
    assert (lower, upper) == pytest.approx(
        (expected["lower"], expected["upper"]), abs=tolerance["abs"]
    )


@example("bis-dominance-thresholds")
def impedance_raised(inputs: Any, expected: Any, tolerance: Any) -> None:
    found = [
        impedance_ratio_is_raised(each["ratio"], dominant_at_risk=each["at_risk_dominant"])
        for each in inputs["ratios"]
    ]
    assert found == expected["raised"]


@example("ctcae-edema-limbs-boundaries")
def ctcae_grades(inputs: Any, expected: Any, tolerance: Any) -> None:
    assert [ctcae_edema_limbs_grade(each) for each in inputs["percent"]] == expected["grade"]


@example("isl-severity-boundaries")
def isl_bands(inputs: Any, expected: Any, tolerance: Any) -> None:
    """From memory, not re-read: ISL consensus 2013, 2016, 2020."""
    assert [severity_band(each) for each in inputs["percent"]] == expected["band"]


@example("dxa-prediction-limits")
def dominance_bands(inputs: Any, expected: Any, tolerance: Any) -> None:
    found = [dominance_band(value, DominanceLimit(limit)) for limit, value in inputs["cases"]]
    assert found == expected["band"]


@example("armer-stewart-2005")
def disagreement(inputs: Any, expected: Any, tolerance: Any) -> None:
    assert [each.criterion for each in ARMER_STEWART_2005] == inputs["criteria"]
    six = [each.at_6_months_percent for each in ARMER_STEWART_2005]
    twelve = [each.at_12_months_percent for each in ARMER_STEWART_2005]
    assert six == expected["rate_6_months_percent"]
    assert twelve == expected["rate_12_months_percent"]


@example("stout-2008")
def surveillance(inputs: Any, expected: Any, tolerance: Any) -> None:
    assert {name: getattr(STOUT_2008, name) for name in inputs} == inputs
    incidence = 100 * STOUT_2008.identified / STOUT_2008.cohort
    assert incidence == pytest.approx(expected.pop("incidence_percent"), abs=tolerance["abs_pct"])
    assert {name: getattr(STOUT_2008, name) for name in expected} == expected
    assert RULES[Criterion.SURVEILLANCE_3_PERCENT].limit == expected["threshold_percent"]


def _score(expected: Any) -> Any:
    score = expected["score"]
    return score if score is None else pytest.approx(score, abs=0.001)


@example(
    *(f"quickdash-{name}" for name in ("all-1", "all-5", "mixed", "one-missing", "two-missing"))
)
def quickdash(inputs: Any, expected: Any, tolerance: Any) -> None:
    found = outcome.quickdash_score(inputs["items"])
    assert len(inputs["items"]) == outcome.QUICKDASH_ITEMS
    assert found == (
        None if expected["score"] is None else pytest.approx(expected["score"], abs=0.001)
    )


@example("dash-27-answered", "dash-26-answered")
def dash(inputs: Any, expected: Any, tolerance: Any) -> None:
    """The case gives the count and the sum; any answers with that sum score alike."""
    count, total = inputs["n_answered"], inputs["sum"]
    threes = total - 2 * count
    items = [3] * threes + [2] * (count - threes) + [None] * (outcome.DASH_ITEMS - count)
    assert sum(each for each in items if each) == total
    found = outcome.dash_score(items)
    assert found == (
        None if expected["score"] is None else pytest.approx(expected["score"], abs=0.001)
    )


@example("psfs-average")
def function(inputs: Any, expected: Any, tolerance: Any) -> None:
    found = outcome.function_change(inputs["baseline"], inputs["followup"])
    numbers = (found.before, found.after, found.change)
    printed = ("baseline_average", "followup_average", "change")
    assert numbers == pytest.approx(tuple(expected[name] for name in printed), abs=tolerance["abs"])
    assert found.mean_exceeds_mdc90 is expected["exceeds_mdc90_average"]
    assert list(found.single_exceeds_mdc90) == expected["single_exceeds_mdc90"]


@example("nprs-shoulder-mcid")
def pain(inputs: Any, expected: Any, tolerance: Any) -> None:
    found = outcome.pain_change(inputs["baseline"], inputs["followup"])
    numbers = (found.before, found.after, found.improvement)
    printed = ("baseline_mean", "followup_mean", "improvement")
    assert numbers == pytest.approx(tuple(expected[name] for name in printed), abs=tolerance["abs"])
    assert found.meets_mcid is expected["meets_mcid"]


@example("llis-change")
def impact_scale(inputs: Any, expected: Any, tolerance: Any) -> None:
    for version, limits in (("v1", outcome.LLIS_V1), ("v2", outcome.LLIS_V2)):
        assert {"mcid": limits.mcid, "mdc95": limits.mdc95} == inputs[version]
        assert outcome.change_meaning(inputs["change"], limits).label == expected[version]


@example("plateau-exponential")
def plateau(inputs: Any, expected: Any, tolerance: Any) -> None:
    curve = [
        decongestion_curve(week, start_ml=600, plateau_ml=200, rate_per_week=0.7)
        for week in inputs["t_weeks"]
    ]
    assert curve == pytest.approx(expected["excess_ml"], abs=tolerance["abs_ml"])
    changes = [volume_change_percent(now_ml=now, baseline_ml=then) for then, now in pairwise(curve)]
    assert changes == pytest.approx(expected["weekly_change_percent_of_previous"], abs=0.001)
