"""What a session and a course say, held to the published worked examples."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from clinic.clients.models import Episode, PhaseChange
from clinic.common.vocabulary import Involvement, Phase, Posture, Region, RegionSide, Side
from measurements.limb.comparison import Verdict
from measurements.limb.thresholds import Criterion, SeverityBand
from measurements.models import GirthSession
from measurements.report import Caution
from measurements.selectors.reports import episode_course, latest_by_episode, session_report
from tests.builders import (
    ARM_OTHER_CM,
    ARM_SWOLLEN_CM,
    make_client,
    make_episode,
    make_protocol,
    make_session,
)
from tests.cast import Cast

# Reference worked examples "arm-4cm-affected", "arm-4cm-unaffected", "arm-4cm-comparison":
# truncated cones on constructed arms, derived by hand from h (C1^2 + C1 C2 + C2^2) / (12 pi).
AFFECTED_ML, OTHER_ML, EXCESS_ML, EXCESS_PERCENT = 2217.081, 1848.018, 369.063, 19.9708
# Worked example of the analytic propagation: two arms, independent SD 0.3 cm.
INDEPENDENT_DIFFERENCE_SD_ML = 21.0354

BASELINE_ON = date(2026, 1, 5)


def smaller(girths_cm: list[float], by_cm: float) -> list[float]:
    return [round(girth - by_cm, 1) for girth in girths_cm]


@pytest.fixture
def episode(cast: Cast) -> Episode:
    return make_episode(make_client(), cast.therapist)


@pytest.fixture
def baseline(episode: Episode) -> GirthSession:
    return make_session(episode, make_protocol(), taken_on=BASELINE_ON, is_baseline=True)


def later(session: GirthSession, days: int, **differences: object) -> GirthSession:
    return make_session(
        session.episode,
        session.protocol,
        taken_on=session.taken_on + timedelta(days=days),
        **differences,
    )


def test_a_report_gives_the_volumes_and_excess_of_the_worked_example(
    baseline: GirthSession,
) -> None:
    report = session_report(baseline)
    assert report.right
    assert report.left
    assert report.comparison
    assert report.right.ml == pytest.approx(AFFECTED_ML, abs=0.001)
    assert report.left.ml == pytest.approx(OTHER_ML, abs=0.001)
    assert report.comparison.excess_ml == pytest.approx(EXCESS_ML, abs=0.001)
    assert report.comparison.excess_percent == pytest.approx(EXCESS_PERCENT, abs=0.0001)
    assert report.comparison.verdict is Verdict.BEYOND_ERROR_UP
    assert report.comparison.excess_error_ml >= INDEPENDENT_DIFFERENCE_SD_ML


def test_an_excess_that_prints_as_20_percent_is_still_below_the_20_percent_limit(
    baseline: GirthSession,
) -> None:
    severity = session_report(baseline).severity
    assert severity.band is SeverityBand.MINIMAL


def test_all_criteria_stand_side_by_side_with_value_limit_and_source(
    baseline: GirthSession,
) -> None:
    found = {each.criterion: each for each in session_report(baseline).criteria}
    assert set(found) == set(Criterion)
    assert found[Criterion.VOLUME_200ML].met
    # Largest difference in the example's own girths: 26.3 - 23.4 = 2.9 cm at 16 cm.
    assert found[Criterion.GIRTH_2CM].value == pytest.approx(2.9)
    assert found[Criterion.RVC_10_PERCENT].met is None
    assert all(each.source for each in found.values())


def test_a_left_arm_is_compared_as_left_minus_right(cast: Cast) -> None:
    episode = make_episode(
        make_client(),
        cast.therapist,
        regions=[(Region.ARM, RegionSide.LEFT, Involvement.SWOLLEN)],
    )
    session = make_session(
        episode,
        make_protocol(),
        taken_on=BASELINE_ON,
        left_cm=ARM_SWOLLEN_CM,
        right_cm=ARM_OTHER_CM,
    )
    report = session_report(session)
    assert report.affected_side is Side.LEFT
    assert report.comparison
    assert report.comparison.excess_ml == pytest.approx(EXCESS_ML, abs=0.001)
    assert report.rows[0].difference_cm == pytest.approx(18.2 - 16.4)


def test_an_at_risk_side_counts_as_affected_when_none_is_swollen(cast: Cast) -> None:
    regions = [(Region.ARM, RegionSide.RIGHT, Involvement.AT_RISK)]
    episode = make_episode(make_client(), cast.therapist, regions=regions)
    session = make_session(episode, make_protocol(), taken_on=BASELINE_ON)
    assert session_report(session).affected_side is Side.RIGHT


def test_a_treated_breast_puts_the_arm_of_its_side_under_watch(cast: Cast) -> None:
    regions = [(Region.BREAST, RegionSide.LEFT, Involvement.SWOLLEN)]
    episode = make_episode(make_client(), cast.therapist, regions=regions)
    session = make_session(episode, make_protocol(), taken_on=BASELINE_ON)
    assert session_report(session).affected_side is Side.LEFT


def test_bilateral_disease_sets_each_arm_against_its_own_baseline(cast: Cast) -> None:
    regions = [(Region.ARM, side, Involvement.SWOLLEN) for side in RegionSide if side != "midline"]
    episode = make_episode(make_client(), cast.therapist, regions=regions)
    first = make_session(episode, make_protocol(), taken_on=BASELINE_ON, is_baseline=True)
    now = later(first, 28, right_cm=smaller(ARM_SWOLLEN_CM, 1.0), weight_kg=Decimal("77.0"))
    report = session_report(now)
    assert report.affected_side is None
    assert report.comparison is None
    assert report.severity.band is None
    assert Caution.BILATERAL in report.cautions
    assert report.since_baseline
    assert report.since_baseline.right
    assert report.since_baseline.right.verdict is Verdict.BEYOND_ERROR_DOWN
    assert report.since_baseline.left
    assert report.since_baseline.left.change_ml == pytest.approx(0)
    # Weight up by a tenth and volume unchanged: A2 W1 / (W2 A1) - 1 = 1/1.1 - 1.
    assert dict(report.weight_adjusted)[Side.LEFT].value == pytest.approx(100 * (1 / 1.1 - 1))


def test_no_change_but_tape_error_is_called_real(baseline: GirthSession) -> None:
    now = later(baseline, 7, right_cm=smaller(ARM_SWOLLEN_CM, 0.1))
    since = session_report(now).since_baseline
    assert since
    assert since.excess
    assert since.excess.change_ml < 0
    assert since.excess.verdict is Verdict.WITHIN_ERROR


def test_a_change_is_judged_against_baseline_and_against_the_session_before(
    baseline: GirthSession,
) -> None:
    between = later(baseline, 14, right_cm=smaller(ARM_SWOLLEN_CM, 0.9))
    now = later(baseline, 28, right_cm=smaller(ARM_SWOLLEN_CM, 1.0))
    report = session_report(now)
    assert report.since_baseline
    assert report.since_previous
    assert report.since_baseline.session_id == baseline.pk
    assert report.since_previous.session_id == between.pk
    assert report.since_baseline.excess.verdict is Verdict.BEYOND_ERROR_DOWN
    assert report.since_previous.excess.verdict is Verdict.WITHIN_ERROR
    assert report.relative_change
    assert report.relative_change.verdict is Verdict.BEYOND_ERROR_DOWN


def test_a_struck_session_counts_nowhere(baseline: GirthSession, cast: Cast) -> None:
    wrong = later(baseline, 7, right_cm=smaller(ARM_SWOLLEN_CM, -3))
    now = later(baseline, 14)
    wrong.struck_at, wrong.struck_by, wrong.struck_reason = (
        wrong.recorded_at,
        cast.therapist,
        "left and right were swapped",
    )
    wrong.save()
    report = session_report(now)
    assert report.since_previous
    assert report.since_previous.session_id == baseline.pk
    (course,) = episode_course(baseline.episode)
    assert wrong.pk not in [point.session_id for point in course.points]
    assert Caution.STRUCK in session_report(wrong).cautions


def test_limbs_taped_over_different_stretches_are_compared_over_the_shared_one(
    episode: Episode,
) -> None:
    session = make_session(
        episode, make_protocol(), taken_on=BASELINE_ON, left_cm=ARM_OTHER_CM[:-2]
    )
    report = session_report(session)
    assert report.section_is_shorter
    assert report.section
    assert report.section.to_cm == 32
    assert Caution.SHORTER in report.cautions


def test_one_arm_alone_has_a_volume_and_no_excess(episode: Episode) -> None:
    session = make_session(episode, make_protocol(), taken_on=BASELINE_ON, left_cm=[])
    report = session_report(session)
    assert report.right
    assert report.right.ml == pytest.approx(AFFECTED_ML, abs=0.001)
    assert report.left is None
    assert report.comparison is None
    assert Caution.ONE_LIMB in report.cautions


def test_another_start_landmark_is_another_place_and_is_not_compared(
    baseline: GirthSession,
) -> None:
    elsewhere = make_protocol(start_landmark="wrist crease")
    now = make_session(baseline.episode, elsewhere, taken_on=BASELINE_ON + timedelta(days=9))
    report = session_report(now)
    assert report.since_baseline
    assert not report.since_baseline.is_comparable
    assert report.since_baseline.excess is None
    assert Caution.NOT_COMPARABLE in report.cautions
    (course,) = episode_course(baseline.episode)
    assert course.left_out == 1
    assert [point.session_id for point in course.points] == [now.pk]


def test_another_posture_than_at_baseline_is_said(baseline: GirthSession) -> None:
    now = later(baseline, 7, posture=Posture.LYING)
    assert Caution.POSTURE in session_report(now).cautions


def test_a_sudden_rise_asks_for_a_look_the_same_day(baseline: GirthSession) -> None:
    swollen_more = [girth * 1.06 for girth in ARM_SWOLLEN_CM]  # volume +12 %
    assert Caution.SUDDEN_RISE in session_report(later(baseline, 6, right_cm=swollen_more)).cautions
    assert (
        Caution.SUDDEN_RISE
        not in session_report(later(baseline, 60, right_cm=swollen_more)).cautions
    )


def test_segments_of_the_rows_add_up_to_the_limb(baseline: GirthSession) -> None:
    rows = session_report(baseline).rows
    assert rows[-1].right_segment_ml is None
    assert sum(row.right_segment_ml or 0 for row in rows) == pytest.approx(AFFECTED_ML, abs=0.001)
    assert sum(row.segment_excess_ml or 0 for row in rows) == pytest.approx(EXCESS_ML, abs=0.001)


def test_a_course_gives_each_session_with_its_verdict_against_baseline(
    baseline: GirthSession,
) -> None:
    later(baseline, 10, right_cm=smaller(ARM_SWOLLEN_CM, 0.1))
    later(baseline, 20, right_cm=smaller(ARM_SWOLLEN_CM, 1.0))
    (course,) = episode_course(baseline.episode)
    assert [point.verdict for point in course.points] == [
        None,
        Verdict.WITHIN_ERROR,
        Verdict.BEYOND_ERROR_DOWN,
    ]
    assert course.points[0].excess_ml == pytest.approx(EXCESS_ML, abs=0.001)
    assert course.points[0].right.volume_ml == pytest.approx(AFFECTED_ML, abs=0.001)
    assert course.points[2].right.verdict is Verdict.BEYOND_ERROR_DOWN
    assert course.points[2].left.verdict is Verdict.WITHIN_ERROR


def test_a_phase_lasts_until_the_next_begins(baseline: GirthSession, cast: Cast) -> None:
    moved_on = BASELINE_ON + timedelta(days=30)
    PhaseChange.objects.create(
        episode=baseline.episode,
        phase=Phase.MAINTENANCE,
        since_on=moved_on,
        reason="plateau",
        by=cast.therapist,
    )
    (course,) = episode_course(baseline.episode)
    assert [(span.phase, span.from_on, span.to_on) for span in course.phases] == [
        (Phase.INTENSIVE, BASELINE_ON, moved_on),
        (Phase.MAINTENANCE, moved_on, None),
    ]


def test_reports_take_the_same_number_of_queries_whatever_the_history(
    baseline: GirthSession, cast: Cast
) -> None:
    def counts() -> tuple[int, int, int]:
        found = []
        for ask in (
            lambda: session_report(GirthSession.objects.latest("taken_on")),
            lambda: episode_course(Episode.objects.get(pk=baseline.episode_id)),
            lambda: latest_by_episode(Episode.objects.all()),
        ):
            with CaptureQueriesContext(
                connection,
            ) as queries:
                ask()
            found.append(len(queries))
        return tuple(found)

    later(baseline, 1), later(baseline, 2)
    few = counts()
    for days in range(3, 12):
        later(baseline, days)
    other = make_episode(make_client(), cast.other_therapist)
    make_session(other, baseline.protocol, taken_on=BASELINE_ON)
    assert counts() == few


def test_the_latest_of_each_episode_is_the_report_of_its_last_session(
    baseline: GirthSession, cast: Cast
) -> None:
    now = later(baseline, 28, right_cm=smaller(ARM_SWOLLEN_CM, 1.0))
    empty = make_episode(make_client(), cast.therapist)
    found = latest_by_episode([baseline.episode, empty])
    assert set(found) == {baseline.episode_id}
    assert found[baseline.episode_id] == (session_report(now),)
