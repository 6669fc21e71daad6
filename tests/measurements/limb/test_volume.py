"""Volumes against geometry, numerical integration, a mesh library and real body shapes."""

from itertools import pairwise
from math import inf, nan, pi

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad, simpson
from shapely import Polygon

from clinic.common.vocabulary import Side
from measurements.limb.comparison import compare_limbs
from measurements.limb.errors import LengthNotPositive, SectionNotTaped
from measurements.limb.other_formulas import end_area_sum, mean_girth_sum
from measurements.limb.volume import (
    METHOD,
    Section,
    girth_at,
    limb_volume,
    segment_volume,
    segment_volumes,
)
from tests.measurements.limb.limbs import (
    ANALYTIC_CASES,
    MESH_CASES,
    PUBLISHED,
    every,
    limb,
    mesh_limb,
    worked_limb,
)

by_name = {"ids": lambda case: case["name"] if isinstance(case, dict) else str(case)}
ROUND_SHAPES = ("cylinder", "cone_frustum", "cone_frustum_irregular")

girth_lists = st.lists(st.floats(5, 150), min_size=2, max_size=20)


@pytest.mark.parametrize("case", ANALYTIC_CASES, **by_name)
def test_analytic_limbs_give_the_truncated_cone_volume(case: dict) -> None:
    found = limb_volume(limb(case["stations_cm"], case["girths_cm"])).ml
    assert found == pytest.approx(case["frustum_from_girths_ml"], rel=1e-9)


@pytest.mark.parametrize(
    "case", [case for case in ANALYTIC_CASES if case["name"] in ROUND_SHAPES], **by_name
)
def test_round_straight_limbs_give_their_exact_volume(case: dict) -> None:
    found = limb_volume(limb(case["stations_cm"], case["girths_cm"])).ml
    assert found == pytest.approx(case["exact_volume_ml"], rel=1e-9)


@pytest.mark.parametrize("case", ANALYTIC_CASES, **by_name)
def test_other_shapes_differ_by_the_stated_percentage(case: dict) -> None:
    found = limb_volume(limb(case["stations_cm"], case["girths_cm"])).ml
    percent = 100 * (found / case["exact_volume_ml"] - 1)
    assert percent == pytest.approx(case["frustum_error_pct"], abs=1e-5)


@pytest.mark.parametrize("case", MESH_CASES, **by_name)
@pytest.mark.parametrize("which", ["affected", "unaffected"])
def test_body_mesh_limbs_read_high_within_the_known_bounds(case: dict, which: str) -> None:
    """Tolerances of the mesh measurements: 0 to +6.5 % (arm), 0 to +4 % (leg)."""
    found = limb_volume(mesh_limb(case[which]["stations"])).ml
    assert found == pytest.approx(case[which]["frustum_volume_from_girths_ml"], rel=1e-6, abs=0.02)
    too_high = found / case[which]["true_volume_ml"] - 1
    assert 0 < too_high < {"arm": 0.065, "leg": 0.04}[case["limb"]]


@pytest.mark.parametrize("case", MESH_CASES, **by_name)
def test_body_mesh_excess_is_right_within_one_and_a_half_points(case: dict) -> None:
    found = compare_limbs(
        mesh_limb(case["affected"]["stations"], Side.RIGHT),
        mesh_limb(case["unaffected"]["stations"], Side.LEFT),
    )
    assert found.excess_percent == pytest.approx(case["excess_true_pct"], abs=1.5)
    assert found.excess_percent == pytest.approx(case["excess_frustum_from_girths_pct"], abs=0.001)


@pytest.mark.parametrize("name", ["mesh_arm_female_affected", "mesh_leg_male_unaffected"])
def test_a_section_cut_from_the_mesh_reads_high_like_the_whole(name: str) -> None:
    """Girths cut by trimesh every 3 cm; the section 10.5 to 31.7 cm begins between stations.

    The reference is Simpson integration of the areas that trimesh cuts, every 0.2 cm.
    """
    mesh = trimesh.load(PUBLISHED / f"{name}.obj")
    low, high = mesh.bounds[:, 2]
    levels = [float(level) for level in np.arange(low + 0.5, high - 0.5, 3.0)]
    taped = limb(levels, [_cut(mesh, level).convex_hull.exterior.length for level in levels])
    found = limb_volume(taped, section=Section(10.5, 31.7)).ml
    finely = np.linspace(10.5, 31.7, 107)
    exact = simpson([_cut(mesh, level).area for level in finely], x=finely)
    assert 0 < found / exact - 1 < {"arm": 0.065, "leg": 0.04}[name.split("_")[1]]


def test_trimesh_cuts_the_published_girth() -> None:
    """The arm at 12 cm: 23.228 cm in the mesh measurements."""
    mesh = trimesh.load(PUBLISHED / "mesh_arm_female_affected.obj")
    assert mesh.is_watertight
    assert mesh.volume == pytest.approx(1621.93, abs=0.01)
    girth_cm = _cut(mesh, 12).convex_hull.exterior.length
    assert girth_cm == pytest.approx(23.228, abs=0.001)


def _cut(mesh: trimesh.Trimesh, level_cm: float) -> Polygon:
    section = mesh.section(plane_origin=[0, 0, level_cm], plane_normal=[0, 0, 1])
    planar, _ = section.to_2D()
    return max(planar.polygons_full, key=lambda polygon: polygon.area)


@pytest.mark.parametrize(("from_cm", "to_cm"), [(0, 40), (3, 37.5), (4, 36), (17.2, 17.9), (0, 2)])
def test_a_section_equals_the_integral_of_its_circular_areas(from_cm: float, to_cm: float) -> None:
    arm = worked_limb("arm-4cm-affected")

    def area_cm2(level_cm: float) -> float:
        return np.interp(level_cm, arm.levels_cm, arm.girths_cm) ** 2 / (4 * pi)

    knots = [from_cm, *(each for each in arm.levels_cm if from_cm < each < to_cm), to_cm]
    exact = sum(quad(area_cm2, low, high)[0] for low, high in pairwise(knots))
    assert limb_volume(arm, section=Section(from_cm, to_cm)).ml == pytest.approx(exact, rel=1e-10)


@pytest.mark.parametrize(
    ("spacing_cm", "percent"),
    [(1, -0.008), (2, -0.030), (4, -0.121), (5, -0.188), (8, -0.472), (10, -0.727)],
)
def test_coarser_spacing_errs_as_much_as_integration_says(
    spacing_cm: float, percent: float
) -> None:
    """Solid of revolution r = 3 + 0.1 z + 0.4 sin(z / 5), 0 to 40 cm: 3376.093 mL."""

    def radius_cm(level_cm: float) -> float:
        return 3 + 0.1 * level_cm + 0.4 * np.sin(level_cm / 5)

    exact = quad(lambda level: pi * radius_cm(level) ** 2, 0, 40)[0]
    levels = every(spacing_cm, int(40 / spacing_cm) + 1)
    found = limb_volume(limb(levels, [2 * pi * float(radius_cm(each)) for each in levels])).ml
    assert exact == pytest.approx(3376.093, abs=0.001)
    assert 100 * (found / exact - 1) == pytest.approx(percent, abs=0.0006)


@given(girth_lists, st.floats(0.5, 12), st.floats(0.1, 10))
def test_scaling_every_length_by_k_scales_the_volume_by_k_cubed(
    girths: list[float], spacing_cm: float, k: float
) -> None:
    levels = every(spacing_cm, len(girths))
    small = limb_volume(limb(levels, girths)).ml
    large = limb_volume(limb([k * each for each in levels], [k * each for each in girths])).ml
    assert large == pytest.approx(k**3 * small, rel=1e-9)


@given(girth_lists)
def test_a_reversed_limb_holds_the_same_volume(girths: list[float]) -> None:
    levels = every(4, len(girths))
    forward, backward = (limb_volume(limb(levels, each)).ml for each in (girths, girths[::-1]))
    assert forward == pytest.approx(backward, rel=1e-12)


@given(girth_lists, st.floats(0.01, 0.99))
def test_a_station_added_on_the_straight_line_changes_nothing(
    girths: list[float], share: float
) -> None:
    plain = limb(every(4, len(girths)), girths)
    level = 4 * share
    split = limb([*plain.levels_cm, level], [*plain.girths_cm, girth_at(plain, level)])
    assert limb_volume(split).ml == pytest.approx(limb_volume(plain).ml, rel=1e-12)


@given(girth_lists, st.floats(0.05, 0.95))
def test_two_sections_that_meet_add_up_to_the_whole(girths: list[float], share: float) -> None:
    whole = limb(every(4, len(girths)), girths)
    last = whole.levels_cm[-1]
    cut = share * last
    parts = [limb_volume(whole, section=Section(*each)).ml for each in ((0, cut), (cut, last))]
    assert sum(parts) == pytest.approx(limb_volume(whole).ml, rel=1e-12)


@given(girth_lists)
def test_a_volume_lies_between_its_thinner_and_thicker_cylinders(girths: list[float]) -> None:
    found = limb_volume(limb(every(4, len(girths)), girths)).ml
    thin = sum(4 * min(pair) ** 2 / (4 * pi) for pair in pairwise(girths))
    thick = sum(4 * max(pair) ** 2 / (4 * pi) for pair in pairwise(girths))
    assert thin * (1 - 1e-12) <= found <= thick * (1 + 1e-12)


@given(girth_lists)
def test_other_formulas_differ_by_their_exact_relations(girths: list[float]) -> None:
    """Average of end areas minus cone h d^2 / (24 pi); cone minus mean girth h d^2 / (48 pi)."""
    cone = limb_volume(limb(every(4, len(girths)), girths)).ml
    squares = sum((low - high) ** 2 for low, high in pairwise(girths))
    end_areas, mean_girths = (form(girths, height_cm=4) for form in (end_area_sum, mean_girth_sum))
    assert end_areas == pytest.approx(cone + 4 * squares / (24 * pi), rel=1e-12)
    assert mean_girths == pytest.approx(cone - 4 * squares / (48 * pi), rel=1e-12)


@pytest.mark.parametrize("value", [0.0, -1.0, nan, inf])
@pytest.mark.parametrize("name", ["lower_cm", "upper_cm", "height_cm"])
def test_a_length_that_is_not_above_zero_is_refused_by_name(name: str, value: float) -> None:
    lengths = {"lower_cm": 20.0, "upper_cm": 24.0, "height_cm": 4.0} | {name: value}
    with pytest.raises(LengthNotPositive) as caught:
        segment_volume(**lengths)
    assert caught.value.name == name


@pytest.mark.parametrize(("from_cm", "to_cm"), [(-1, 8), (4, 41), (8, 8), (12, 4)])
def test_a_section_beyond_the_tape_or_without_length_is_refused(
    from_cm: float, to_cm: float
) -> None:
    with pytest.raises(SectionNotTaped) as caught:
        limb_volume(worked_limb("arm-4cm-affected"), section=Section(from_cm, to_cm))
    assert caught.value.taped_cm == (0, 40)


@pytest.mark.parametrize("level_cm", [-0.1, 40.1])
def test_no_girth_is_guessed_beyond_the_stations(level_cm: float) -> None:
    with pytest.raises(SectionNotTaped):
        girth_at(worked_limb("arm-4cm-affected"), level_cm)


def test_segments_lie_end_to_end_and_make_up_the_limb() -> None:
    arm = worked_limb("arm-10cm-unequal-last")
    segments = segment_volumes(arm, section=Section(5, 35))
    bounds = [(each.section.from_cm, each.section.to_cm) for each in segments]
    assert bounds == [(5, 10), (10, 20), (20, 30), (30, 35)]
    whole = limb_volume(arm, section=Section(5, 35))
    assert sum(each.ml for each in segments) == pytest.approx(whole.ml, rel=1e-12)


def test_a_volume_travels_with_its_error_its_section_and_its_method() -> None:
    found = limb_volume(worked_limb("arm-4cm-affected"))
    assert found.error_ml > 0
    assert found.section == Section(0, 40)
    assert found.method == METHOD
