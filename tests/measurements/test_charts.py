"""Charts say what the report says, and call no other host."""

import json
from datetime import date, timedelta
from pathlib import Path

import plotly.graph_objects as go
import pytest

from clinic.clients.models import Episode, PhaseChange
from clinic.common.vocabulary import Involvement, Phase, Region, RegionSide
from measurements.charts import course_figure, girth_figure
from measurements.models import GirthSession
from measurements.report import LimbCourse
from measurements.selectors.reports import episode_course
from measurements.trend_drawing import trend_drawing
from tests.builders import ARM_SWOLLEN_CM, make_client, make_episode, make_protocol, make_session
from tests.cast import Cast

STARTED_ON = date(2026, 1, 5)
# Two-sided 95 % of a normal distribution: DOI 10.1089/lrb.2022.0032, 1.96.
Z_95 = 1.96

BILATERAL = [
    (Region.ARM, RegionSide.LEFT, Involvement.SWOLLEN),
    (Region.ARM, RegionSide.RIGHT, Involvement.SWOLLEN),
]


def taped_course(cast: Cast, regions: list[tuple[object, ...]] | None = None) -> LimbCourse:
    """A baseline, a session within tape error of it and one well below."""
    differences = {"regions": regions} if regions else {}
    episode: Episode = make_episode(make_client(), cast.therapist, **differences)
    protocol = make_protocol()
    for days, less_cm in ((0, 0.0), (10, 0.1), (30, 1.0)):
        make_session(
            episode,
            protocol,
            taken_on=STARTED_ON + timedelta(days=days),
            is_baseline=days == 0,
            right_cm=[girth - less_cm for girth in ARM_SWOLLEN_CM],
        )
    PhaseChange.objects.create(
        episode=episode,
        phase=Phase.MAINTENANCE,
        since_on=STARTED_ON + timedelta(days=20),
        reason="plateau",
        by=cast.therapist,
    )
    assert GirthSession.objects.filter(episode=episode).count() == 3
    (course,) = episode_course(episode)
    return course


def traces(figure: dict[str, object] | None) -> dict[str, dict[str, object]]:
    assert figure
    return {trace.get("name", "lower edge"): trace for trace in figure["data"]}


def test_the_excess_line_and_its_band_are_those_of_the_report(cast: Cast) -> None:
    course = taped_course(cast)
    found = traces(course_figure(course))
    assert found["excess volume"]["y"] == [point.excess_ml for point in course.points]
    # Worked example "arm-4cm-comparison".
    assert found["excess volume"]["y"][0] == pytest.approx(369.063, abs=0.001)
    upper, lower = found["95 % measurement error"]["y"], found["lower edge"]["y"]
    for point, high, low in zip(course.points, upper, lower, strict=True):
        assert (high - low) / 2 == pytest.approx(Z_95 * point.error_ml)


def test_a_real_change_has_another_shape_than_tape_error(cast: Cast) -> None:
    found = traces(course_figure(taped_course(cast)))
    assert found["excess volume"]["marker"]["symbol"] == ["circle", "circle-open", "triangle-down"]


def test_baseline_and_published_limits_are_named_lines_with_dashes_of_their_own(
    cast: Cast,
) -> None:
    found = traces(course_figure(taped_course(cast)))
    names = ["baseline", "200 mL", "5 % of the other arm", "10 % of the other arm"]
    assert len({found[name]["line"]["dash"] for name in names}) == 4
    assert found["200 mL"]["y"] == [200, 200, 200]
    # Worked example "arm-4cm-unaffected": 1848.018 mL.
    assert found["5 % of the other arm"]["y"][0] == pytest.approx(0.05 * 1848.018, abs=0.001)


def test_phases_are_shaded_and_named(cast: Cast) -> None:
    figure = course_figure(taped_course(cast))
    assert figure
    assert [note["text"] for note in figure["layout"]["annotations"]] == [
        "intensive",
        "maintenance",
    ]
    assert len(figure["layout"]["shapes"]) == 2


def test_bilateral_disease_draws_each_limb_from_its_own_baseline(cast: Cast) -> None:
    course = taped_course(cast, BILATERAL)
    found = traces(course_figure(course))
    assert set(found) == {"right arm", "left arm"}
    assert found["left arm"]["y"] == pytest.approx([0, 0, 0])
    assert found["right arm"]["y"][2] == pytest.approx(course.points[2].right.change_ml)
    assert found["right arm"]["line"]["dash"] != found["left arm"]["line"]["dash"]
    assert girth_figure(course) is None


def test_girths_now_stand_against_baseline_and_the_other_limb(cast: Cast) -> None:
    found = traces(girth_figure(taped_course(cast)))
    assert found["right arm at baseline"]["y"] == ARM_SWOLLEN_CM
    assert found["right arm now"]["y"] == pytest.approx([girth - 1 for girth in ARM_SWOLLEN_CM])


@pytest.mark.parametrize("regions", [None, BILATERAL], ids=["one arm", "both arms"])
def test_a_figure_names_no_other_host(cast: Cast, regions: list[tuple[object, ...]]) -> None:
    course = taped_course(cast, regions)
    text = json.dumps([course_figure(course), girth_figure(course)])
    assert "http" not in text
    assert "//" not in text


def test_the_drawing_script_asks_for_no_cloud_and_no_logo() -> None:
    script = (Path(__file__).parents[2] / "static/js/chart.js").read_text()
    for setting in ("displaylogo: false", "showSendToCloud: false", 'plotlyServerURL: ""'):
        assert setting in script


def test_the_small_trend_keeps_value_and_bar_in_proportion(cast: Cast) -> None:
    course = taped_course(cast)
    drawing = trend_drawing(course)
    assert drawing
    (series,) = drawing.series
    top, bottom = drawing.ticks[-1], drawing.ticks[0]
    units_per_ml = (bottom.y - top.y) / (top.value_ml - bottom.value_ml)
    for mark, point in zip(series.marks, course.points, strict=True):
        assert mark.value_ml == point.excess_ml
        assert (bottom.y - mark.y) / units_per_ml == pytest.approx(
            point.excess_ml - bottom.value_ml
        )
        assert (mark.low_y - mark.high_y) / units_per_ml == pytest.approx(2 * Z_95 * point.error_ml)
        assert bottom.y >= mark.low_y > mark.high_y >= top.y
    assert drawing.baseline_y == pytest.approx(series.marks[0].y)


def test_the_small_trend_of_both_arms_differs_without_colour(cast: Cast) -> None:
    drawing = trend_drawing(taped_course(cast, BILATERAL))
    assert drawing
    assert [series.is_second for series in drawing.series] == [False, True]


def test_every_figure_is_one_that_plotly_knows(cast: Cast) -> None:
    # plotly's graph objects (the outside library) refuse a property or value they do not know.
    one_limb = taped_course(cast)
    both_limbs = taped_course(cast, BILATERAL)
    for figure in (course_figure(one_limb), girth_figure(one_limb), course_figure(both_limbs)):
        assert figure
        assert len(go.Figure(figure).data) == len(figure["data"])
