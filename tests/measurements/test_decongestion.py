"""The course of decongestion on the record: which sessions count, and what the page says of it."""

from datetime import date, timedelta

import plotly.graph_objects as go
import pytest
from django.test import Client as Browser
from django.urls import reverse

from clinic.clients.models import Episode, PhaseChange
from clinic.common.vocabulary import Involvement, Phase, Region, RegionSide, Side
from measurements.charts import course_figure
from measurements.limb.course import ASSUMED, DecongestionVerdict, Doubt
from measurements.report import LimbCourse
from measurements.selectors.reports import episode_course
from measurements.trend_drawing import trend_drawing
from tests.builders import make_client, make_episode, make_protocol, make_session
from tests.cast import Cast
from tests.measurements.decongested import SESSION_DAYS, decongested

FIRST_ON = date(2026, 1, 5)
BILATERAL = [
    (Region.ARM, RegionSide.LEFT, Involvement.SWOLLEN),
    (Region.ARM, RegionSide.RIGHT, Involvement.SWOLLEN),
]
# Worked example "arm-4cm-comparison": the excess that the invented fall ends in.
PLATEAU_ML = 369.063


@pytest.fixture
def episode(cast: Cast) -> Episode:
    return make_episode(make_client(), cast.therapist)


def course_of(episode: Episode) -> LimbCourse:
    (course,) = episode_course(Episode.objects.get(pk=episode.pk))
    return course


def change_phase(episode: Episode, day: int, phase: Phase = Phase.MAINTENANCE) -> None:
    PhaseChange.objects.create(
        episode=episode,
        phase=phase,
        since_on=FIRST_ON + timedelta(days=day),
        reason="plateau",
        by=episode.therapist,
    )


def page_of(episode: Episode) -> str:
    browser = Browser()
    browser.force_login(episode.therapist)
    return " ".join(
        browser.get(reverse("girths-course", args=[episode.pk])).content.decode().split()
    )


def test_the_excess_of_an_intensive_phase_is_fitted(episode: Episode) -> None:
    decongested(episode, make_protocol(), first_on=FIRST_ON)
    (phase,) = course_of(episode).decongestion
    assert (phase.side, phase.is_excess) == (Side.RIGHT, True)
    assert (phase.from_on, phase.ended_on) == (episode.opened_on, None)
    assert phase.found.verdict is DecongestionVerdict.AT_PLATEAU
    assert phase.told
    assert phase.told.plateau_ml == pytest.approx(PLATEAU_ML, abs=10)
    # Girths fall by exp(-0.2 a day), the volume nearly so: ln 2 / 0.2 days.
    assert phase.told.half_life_days == pytest.approx(3.466, rel=0.1)


def test_the_errors_of_the_days_are_those_of_the_excess(episode: Episode) -> None:
    decongested(episode, make_protocol(), first_on=FIRST_ON)
    course = course_of(episode)
    (phase,) = course.decongestion
    errors = [point.error_ml or 0 for point in course.points]
    usual_ml = (sum(each**2 for each in errors) / len(errors)) ** 0.5
    assert phase.told
    # 1.96 sqrt(2) SEM: DOI 10.1089/lrb.2022.0032.
    assert phase.told.limit_ml == pytest.approx(1.96 * 2**0.5 * usual_ml)


def test_sessions_before_and_after_the_phase_do_not_count(episode: Episode) -> None:
    protocol = make_protocol()
    decongested(episode, protocol, first_on=FIRST_ON)
    alone = course_of(episode).decongestion[0].told
    change_phase(episode, 22)
    for day in (40, 70):
        make_session(episode, protocol, taken_on=FIRST_ON + timedelta(days=day))
    (phase,) = course_of(episode).decongestion
    assert phase.ended_on == FIRST_ON + timedelta(days=22)
    assert phase.told == alone


def test_four_days_are_too_early_and_the_page_says_why(episode: Episode) -> None:
    decongested(episode, make_protocol(), first_on=FIRST_ON, days=(0, 3, 7, 10))
    (phase,) = course_of(episode).decongestion
    assert phase.found.doubt is Doubt.FEW_DAYS
    page = page_of(episode)
    assert "<b>too early to tell</b>" in page
    assert "fewer than 5 days have been measured in the intensive phase (4 so far)" in page
    assert ASSUMED not in page


def test_other_phases_have_no_course_of_decongestion(cast: Cast) -> None:
    episode = make_episode(make_client(), cast.therapist, phase=Phase.MAINTENANCE)
    decongested(episode, make_protocol(), first_on=FIRST_ON)
    assert course_of(episode).decongestion == ()
    assert "Course of decongestion" not in page_of(episode)


def test_an_ended_phase_without_a_plateau_is_left_unsaid(episode: Episode) -> None:
    decongested(episode, make_protocol(), first_on=FIRST_ON, days=(0, 3, 7))
    change_phase(episode, 8)
    assert course_of(episode).decongestion == ()


def test_an_old_phase_two_phases_back_is_left_unsaid(episode: Episode) -> None:
    decongested(episode, make_protocol(), first_on=FIRST_ON)
    change_phase(episode, 22)
    assert course_of(episode).decongestion
    change_phase(episode, 40, Phase.DISCHARGED)
    assert course_of(episode).decongestion == ()


def test_both_swollen_arms_are_fitted_each_by_itself(cast: Cast) -> None:
    episode = make_episode(make_client(), cast.therapist, regions=BILATERAL)
    decongested(episode, make_protocol(), first_on=FIRST_ON)
    course = course_of(episode)
    right, left = course.decongestion
    assert (right.side, right.is_excess, left.side) == (Side.RIGHT, False, Side.LEFT)
    assert left.found.doubt is Doubt.NO_FALL
    assert right.told
    # Worked example "arm-4cm-affected": 2217.081 mL.
    assert right.told.plateau_ml == pytest.approx(2217.081, abs=15)
    assert course.told_excess is None


def test_the_page_says_plateau_day_assumption_and_caution(episode: Episode) -> None:
    decongested(episode, make_protocol(), first_on=FIRST_ON)
    page = page_of(episode)
    assert "Excess of the right arm in the intensive phase since 5 Jan 2026" in page
    assert "further change has been within measurement error since about" in page
    assert ASSUMED in page
    assert "for the licensed therapist, under local rules" in page
    assert ">Fitted<" in page


def test_the_table_sets_the_fitted_excess_beside_the_measured(episode: Episode) -> None:
    decongested(episode, make_protocol(), first_on=FIRST_ON)
    course = course_of(episode)
    for point in course.points:
        assert point.fitted_ml == pytest.approx(point.excess_ml, abs=2 * (point.error_ml or 0))


def test_the_chart_draws_the_fit_as_a_named_line_and_band(episode: Episode) -> None:
    decongested(episode, make_protocol(), first_on=FIRST_ON)
    course = course_of(episode)
    figure = course_figure(course)
    assert figure
    traces = {trace.get("name"): trace for trace in figure["data"]}
    curve = traces["fitted approach to the plateau, excess"]
    band = traces["95 % interval of the plateau, excess"]
    fit = course.told_excess
    assert fit
    assert curve["y"][0] == pytest.approx(fit.start_ml)
    assert band["y"][0] == fit.plateau_interval_ml.high
    assert band["fill"] == "tonexty"
    others = [trace for trace in figure["data"] if trace is not curve]
    assert curve["line"]["dash"] not in {trace["line"].get("dash") for trace in others}
    assert "plateau, excess" in [note["text"] for note in figure["layout"]["annotations"]]
    # plotly's graph objects (the outside library) refuse a property or value they do not know.
    assert len(go.Figure(figure).data) == len(figure["data"])


def test_a_swollen_pair_draws_each_fit_from_its_own_baseline(cast: Cast) -> None:
    episode = make_episode(make_client(), cast.therapist, regions=BILATERAL)
    decongested(episode, make_protocol(), first_on=FIRST_ON)
    course = course_of(episode)
    figure = course_figure(course)
    assert figure
    traces = {trace.get("name"): trace for trace in figure["data"]}
    assert "fitted approach to the plateau, left arm" not in traces
    drawn = traces["fitted approach to the plateau, right arm"]["y"]
    assert drawn[-1] == pytest.approx(traces["right arm"]["y"][-1], abs=20)
    assert len(go.Figure(figure).data) == len(figure["data"])


def test_the_printed_trend_keeps_the_plateau_inside_its_frame(episode: Episode) -> None:
    decongested(episode, make_protocol(), first_on=FIRST_ON)
    drawing = trend_drawing(course_of(episode))
    assert drawing
    assert drawing.approach
    top, bottom = drawing.ticks[-1].y, drawing.ticks[0].y
    assert top <= drawing.approach.band_y
    assert drawing.approach.band_y + drawing.approach.band_height <= bottom
    assert len(drawing.approach.line.split()) == SESSION_DAYS[-1] + 1


def test_a_course_asks_no_more_for_a_longer_phase(
    episode: Episode, cast: Cast, django_assert_num_queries
) -> None:
    protocol = make_protocol()
    short = make_episode(make_client(), cast.therapist)
    decongested(short, protocol, first_on=FIRST_ON, days=(0, 7))
    decongested(episode, protocol, first_on=FIRST_ON)
    for each in (short, episode):
        fresh = Episode.objects.get(pk=each.pk)
        with django_assert_num_queries(6):
            episode_course(fresh)
