"""The limb drawing: true to scale, mirrored as the reader faces the client."""

import itertools
from datetime import date
from math import pi

import pytest

from clinic.clients.models import Episode
from clinic.common.vocabulary import Involvement, Region, RegionSide, Side
from measurements.models import GirthSession
from measurements.outline import Band, Outline, OutlineLimb, outline_of
from measurements.selectors.reports import session_report
from tests.builders import (
    ARM_OTHER_CM,
    ARM_SWOLLEN_CM,
    make_client,
    make_episode,
    make_protocol,
    make_session,
)
from tests.cast import Cast

UNITS_PER_CM = 10  # the drawing states one unit as 1 mm


@pytest.fixture
def episode(cast: Cast) -> Episode:
    return make_episode(make_client(), cast.therapist)


def drawn(session: GirthSession) -> Outline:
    outline = outline_of(session_report(session))
    assert outline
    return outline


def taped(episode: Episode, **differences: object) -> GirthSession:
    return make_session(episode, make_protocol(), taken_on=date(2026, 1, 5), **differences)


def limb_of(outline: Outline, side: Side) -> OutlineLimb:
    return next(limb for limb in outline.limbs if limb.side is side)


def corners(points: str) -> list[tuple[float, float]]:
    return [tuple(map(float, corner.split(","))) for corner in points.split()]


def test_the_clients_right_limb_stands_on_the_readers_left(episode: Episode) -> None:
    outline = drawn(taped(episode))
    assert limb_of(outline, Side.RIGHT).centre_x < outline.middle_x
    assert limb_of(outline, Side.LEFT).centre_x > outline.middle_x


def test_widths_and_heights_are_those_of_the_girths(episode: Episode) -> None:
    right = limb_of(drawn(taped(episode)), Side.RIGHT)
    for segment, girth_cm in zip(right.segments, ARM_SWOLLEN_CM, strict=False):
        (left_x, low_y), (right_x, _), (_, high_y), _ = corners(segment.points)
        assert right_x - left_x == pytest.approx(girth_cm / pi * UNITS_PER_CM, abs=0.02)
        assert low_y - high_y == pytest.approx(4 * UNITS_PER_CM)


def test_segments_join_without_a_gap(episode: Episode) -> None:
    segments = limb_of(drawn(taped(episode)), Side.RIGHT).segments
    for lower, upper in itertools.pairwise(segments):
        assert corners(lower.points)[3] == corners(upper.points)[0]
        assert corners(lower.points)[2] == corners(upper.points)[1]


def test_swapping_the_girths_of_both_sides_mirrors_the_drawing(episode: Episode) -> None:
    one = drawn(taped(episode))
    other = drawn(taped(episode, round=2, right_cm=ARM_OTHER_CM, left_cm=ARM_SWOLLEN_CM))
    for side in Side:
        here, there = limb_of(one, side), limb_of(other, side.other)
        for segment, mirrored in zip(here.segments, there.segments, strict=True):
            turned = [(one.width - x, y) for x, y in corners(mirrored.points)]
            assert sorted(corners(segment.points)) == [
                (pytest.approx(x, abs=0.02), pytest.approx(y)) for x, y in sorted(turned)
            ]


def test_only_the_affected_limb_is_coloured_by_its_excess(episode: Episode) -> None:
    outline = drawn(taped(episode))
    assert {segment.band for segment in limb_of(outline, Side.LEFT).segments} == {Band.PLAIN}
    right = limb_of(outline, Side.RIGHT)
    assert right.is_affected
    # Worked example: 369.063 mL between the constructed arms, the sum of its segments.
    assert sum(segment.excess_ml for segment in right.segments) == pytest.approx(369.063, abs=0.001)
    assert Band.MUCH in {segment.band for segment in right.segments}


def test_a_segment_that_differs_by_less_than_tape_error_keeps_no_colour(episode: Episode) -> None:
    nearly = [girth + 0.1 for girth in ARM_OTHER_CM]
    outline = drawn(taped(episode, right_cm=nearly))
    assert {segment.band for segment in limb_of(outline, Side.RIGHT).segments} == {Band.ALIKE}
    assert outline.bands == (Band.ALIKE,)


def test_a_smaller_affected_limb_is_told_from_a_larger_one(episode: Episode) -> None:
    outline = drawn(taped(episode, right_cm=ARM_OTHER_CM, left_cm=ARM_SWOLLEN_CM))
    assert {segment.band for segment in limb_of(outline, Side.RIGHT).segments} <= {
        Band.LESS,
        Band.ALIKE,
    }


def test_bilateral_disease_draws_both_limbs_without_excess(cast: Cast) -> None:
    regions = [
        (Region.ARM, RegionSide.LEFT, Involvement.SWOLLEN),
        (Region.ARM, RegionSide.RIGHT, Involvement.SWOLLEN),
    ]
    outline = drawn(taped(make_episode(make_client(), cast.therapist, regions=regions)))
    assert len(outline.limbs) == 2
    assert outline.bands == ()


def test_one_limb_alone_keeps_its_side_of_the_sheet(episode: Episode) -> None:
    outline = drawn(taped(episode, left_cm=[]))
    (limb,) = outline.limbs
    assert limb.centre_x < outline.middle_x
    assert {segment.band for segment in limb.segments} == {Band.PLAIN}


def test_everything_drawn_lies_on_the_sheet(episode: Episode) -> None:
    outline = drawn(taped(episode))
    for limb in outline.limbs:
        for segment in limb.segments:
            for x, y in corners(segment.points):
                assert 0 < x < outline.width
                assert 0 < y < outline.height
