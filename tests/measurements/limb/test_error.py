"""Error propagation against the uncertainties package, simulation and published errors."""

from itertools import pairwise
from math import hypot, pi, sqrt

import numpy as np
import pytest
from uncertainties import ufloat

from clinic.common.vocabulary import Limb, Side
from measurements.limb.comparison import (
    change_since,
    compare_limbs,
    excess_change,
    relative_change_since,
)
from measurements.limb.error import (
    DEFAULT_TAPE_ERROR,
    SCALE_ERROR_KG,
    TAPE_ERRORS,
    TapeError,
    change_error,
    difference_error,
    segment_error,
)
from measurements.limb.errors import MixedMethod
from measurements.limb.girth import LimbGirths, Reading, limb_girths
from measurements.limb.volume import Section, limb_volume, volume_gradient
from tests.measurements.limb.limbs import every, limb, worked_limb

ARM = worked_limb("arm-4cm-affected", Side.RIGHT)
OTHER = worked_limb("arm-4cm-unaffected", Side.LEFT)
LATER = limb(ARM.levels_cm, [girth * 0.97 for girth in ARM.girths_cm], Side.RIGHT)
LATER_OTHER = limb(OTHER.levels_cm, [girth * 1.01 for girth in OTHER.girths_cm], Side.LEFT)

TAPES = [TapeError(0.3, 0), TapeError(0, 0.1), DEFAULT_TAPE_ERROR, TapeError(0.5, 0.2)]
SECTIONS = [Section(0, 40), Section(3, 38.5), Section(17.2, 17.9)]


class Session:
    """One taping in the `uncertainties` package: own errors, and one pull for all girths."""

    def __init__(self, tape: TapeError) -> None:
        self.tape = tape
        self.pull = ufloat(0, tape.shared_cm) if tape.shared_cm else 0.0

    def volume(self, girths: LimbGirths, section: Section):
        own = self.tape.independent_cm
        taped = [
            (ufloat(girth, own / sqrt(trials)) if own else girth) + self.pull
            for girth, trials in zip(girths.girths_cm, girths.trials, strict=True)
        ]
        levels = girths.levels_cm

        def at(level: float):
            upper = next(i for i in range(1, len(levels)) if level <= levels[i])
            share = (level - levels[upper - 1]) / (levels[upper] - levels[upper - 1])
            return taped[upper - 1] * (1 - share) + taped[upper] * share

        inside = [each for each in levels if section.from_cm < each < section.to_cm]
        knots = [section.from_cm, *inside, section.to_cm]
        return sum(
            (high - low) * (at(low) ** 2 + at(low) * at(high) + at(high) ** 2) / (12 * pi)
            for low, high in pairwise(knots)
        )


@pytest.mark.parametrize("tape", TAPES)
@pytest.mark.parametrize("section", SECTIONS)
def test_the_error_of_a_volume_agrees_with_uncertainties(tape: TapeError, section: Section) -> None:
    reference = Session(tape).volume(ARM, section)
    found = limb_volume(ARM, section=section, tape=tape)
    assert found.ml == pytest.approx(reference.nominal_value, rel=1e-12)
    assert found.error_ml == pytest.approx(reference.std_dev, rel=1e-9)


@pytest.mark.parametrize("tape", TAPES)
@pytest.mark.parametrize("section", SECTIONS)
def test_the_errors_of_an_excess_agree_with_uncertainties(
    tape: TapeError, section: Section
) -> None:
    """Both limbs taped in one session: one pull for both."""
    session = Session(tape)
    affected, other = (session.volume(each, section) for each in (ARM, OTHER))
    found = compare_limbs(ARM, OTHER, section=section, tape=tape)
    assert found.excess_error_ml == pytest.approx((affected - other).std_dev, rel=1e-9)
    percent = 100 * (affected - other) / other
    assert found.excess_percent == pytest.approx(percent.nominal_value, rel=1e-12)
    assert found.excess_percent_error == pytest.approx(percent.std_dev, rel=1e-9)


@pytest.mark.parametrize("tape", TAPES)
def test_the_error_of_a_change_agrees_with_uncertainties(tape: TapeError) -> None:
    """Two sessions: a new pull each."""
    section = Section(0, 40)
    reference = Session(tape).volume(LATER, section) - Session(tape).volume(ARM, section)
    found = change_since(LATER, ARM, tape=tape)
    assert found.change_ml == pytest.approx(reference.nominal_value, rel=1e-12)
    assert found.error_ml == pytest.approx(reference.std_dev, rel=1e-9)


@pytest.mark.parametrize("tape", TAPES)
def test_the_errors_of_excess_change_and_rvc_agree_with_uncertainties(tape: TapeError) -> None:
    section, then, now = Section(0, 40), Session(tape), Session(tape)
    a1, u1 = (then.volume(each, section) for each in (ARM, OTHER))
    a2, u2 = (now.volume(each, section) for each in (LATER, LATER_OTHER))
    was, is_now = (compare_limbs(*pair, tape=tape) for pair in ((ARM, OTHER), (LATER, LATER_OTHER)))
    change = (a2 - u2) - (a1 - u1)
    assert excess_change(is_now, was).error_ml == pytest.approx(change.std_dev, rel=1e-9)
    rvc = 100 * (a2 * u1 / (u2 * a1) - 1)
    found = relative_change_since(is_now, was)
    assert found.value == pytest.approx(rvc.nominal_value, rel=1e-12)
    assert found.error == pytest.approx(rvc.std_dev, rel=1e-9)


@pytest.mark.parametrize("tape", TAPES)
def test_the_error_of_a_weight_adjusted_change_agrees_with_uncertainties(tape: TapeError) -> None:
    section = Section(0, 40)
    a1, a2 = Session(tape).volume(ARM, section), Session(tape).volume(LATER, section)
    w1, w2 = ufloat(70, SCALE_ERROR_KG), ufloat(73.5, SCALE_ERROR_KG)
    reference = 100 * (a2 * w1 / (w2 * a1) - 1)
    found = change_since(LATER, ARM, tape=tape, weights_kg=(73.5, 70)).by_weight
    assert found
    assert found.weight_percent == pytest.approx(5)
    assert found.adjusted
    found = found.adjusted
    assert found.value == pytest.approx(reference.nominal_value, rel=1e-12)
    assert found.error == pytest.approx(reference.std_dev, rel=1e-9)


def test_the_example_of_independent_and_shared_tenths_is_reproduced() -> None:
    """`uncertainties` 3.2.3 on ten girths at 4 cm: 1664 +/- 4.47 mL; a pull of 0.1 cm, 13.6 mL."""
    girths = [16.0, 17.2, 19.5, 22.1, 24.0, 25.3, 26.0, 27.4, 29.0, 30.2]
    found = limb_volume(limb(every(4, 10), girths), tape=TapeError(0.1, 0.1))
    assert found.ml == pytest.approx(1664, abs=0.5)
    assert found.independent_error_ml == pytest.approx(4.47, abs=0.005)
    assert found.shared_error_ml == pytest.approx(13.6, abs=0.05)


def test_simulated_tapings_scatter_as_much_as_the_error_says() -> None:
    """40,000 draws: their spread has a relative standard error of 0.35 %; 1.5 % is over 4 of it."""
    draws = np.random.default_rng(20260304)
    count, tape = 40_000, DEFAULT_TAPE_ERROR
    pull = draws.normal(0, tape.shared_cm, (count, 1))
    volumes = [_simulated_ml(girths, pull, draws) for girths in (ARM, OTHER)]
    found = compare_limbs(ARM, OTHER)
    assert volumes[0].std() == pytest.approx(found.affected.error_ml, rel=0.015)
    assert (volumes[0] - volumes[1]).std() == pytest.approx(found.excess_error_ml, rel=0.015)
    percent = 100 * (volumes[0] / volumes[1] - 1)
    assert percent.std() == pytest.approx(found.excess_percent_error, rel=0.015)


def _simulated_ml(girths: LimbGirths, pull: np.ndarray, draws: np.random.Generator) -> np.ndarray:
    own = draws.normal(0, DEFAULT_TAPE_ERROR.independent_cm, (len(pull), len(girths.girths_cm)))
    taped = np.asarray(girths.girths_cm) + own + pull
    low, high = taped[:, :-1], taped[:, 1:]
    return (4 * (low**2 + low * high + high**2) / (12 * pi)).sum(axis=1)


@pytest.mark.parametrize("section", SECTIONS)
def test_the_gradient_agrees_with_small_steps_in_each_girth(section: Section) -> None:
    step = 1e-5
    for station, slope in enumerate(volume_gradient(ARM, section=section)):
        moved = [
            limb_volume(_with_step(station, step * sign), section=section).ml for sign in (1, -1)
        ]
        assert slope == pytest.approx((moved[0] - moved[1]) / (2 * step), abs=1e-5)


def _with_step(station: int, step_cm: float) -> LimbGirths:
    girths = list(ARM.girths_cm)
    girths[station] += step_cm
    return limb(ARM.levels_cm, girths, Side.RIGHT)


def test_one_segment_has_the_error_of_a_limb_of_one_segment() -> None:
    found = segment_error(lower_cm=20, upper_cm=24, height_cm=4)
    assert found.error_ml == pytest.approx(limb_volume(limb([0, 4], [20, 24])).error_ml, rel=1e-12)


def test_trials_lower_the_independent_error_and_leave_the_shared_one() -> None:
    readings = [
        Reading(Side.LEFT, level, girth, trial) for level, girth in ARM for trial in (1, 2, 3)
    ]
    once, thrice = limb_volume(ARM), limb_volume(limb_girths(readings, Side.LEFT))
    assert thrice.independent_error_ml == pytest.approx(once.independent_error_ml / sqrt(3))
    assert thrice.shared_error_ml == pytest.approx(once.shared_error_ml)


@pytest.mark.parametrize(
    ("limb_kind", "case_id", "percent"),
    [
        # Tidhar et al., J Pers Med 2015;5:341-353: one rater, an arm, 0.82 %.
        (Limb.ARM, "arm-4cm-affected", 0.82),
        # DOI 10.1089/lrb.2022.0032: one rater two weeks apart, a leg, 1.2 to 1.4 %.
        (Limb.LEG, "leg-4cm-affected", 1.3),
    ],
)
def test_the_error_of_each_limb_is_the_published_one(
    limb_kind: Limb, case_id: str, percent: float
) -> None:
    found = limb_volume(worked_limb(case_id), tape=TAPE_ERRORS[limb_kind])
    assert found.error_percent == pytest.approx(percent, abs=0.002)


def test_a_leg_changes_for_real_from_the_published_size_on() -> None:
    """DOI 10.1089/lrb.2022.0032: smallest real difference of a leg 3.4 to 3.8 %."""
    leg = worked_limb("leg-4cm-affected")
    found = change_since(leg, leg, tape=TAPE_ERRORS[Limb.LEG])
    assert 3.4 <= 100 * found.mdc95_ml / found.then_ml <= 3.8


def test_limbs_of_one_session_share_the_pull_and_sessions_do_not() -> None:
    tape = TapeError(independent_cm=0, shared_cm=0.1)
    a, b = limb_volume(ARM, tape=tape), limb_volume(OTHER, tape=tape)
    assert difference_error(a, b) == pytest.approx(abs(a.shared_error_ml - b.shared_error_ml))
    assert change_error(a, b) == pytest.approx(hypot(a.shared_error_ml, b.shared_error_ml))


def test_volumes_over_different_sections_are_not_subtracted() -> None:
    whole, part = limb_volume(ARM), limb_volume(ARM, section=Section(0, 36))
    for error in (difference_error, change_error):
        with pytest.raises(MixedMethod) as caught:
            error(whole, part)
        assert caught.value.sections_cm == ((0, 40), (0, 36))
