"""The size that fits: worked by hand on an invented chart, and against a plain search."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from programmes.compression.errors import ChartUneven, NothingMeasured
from programmes.compression.size_chart import FitVerdict, Size, SizeChart, Span, best_fit


def chart(*sizes: tuple[str, tuple[float, float], tuple[float, float]]) -> SizeChart:
    return SizeChart(
        "invented",
        tuple(
            Size(name, (Span("wrist", *wrist), Span("elbow", *elbow)))
            for name, wrist, elbow in sizes
        ),
    )


SLEEVES = chart(("S", (14, 16), (22, 25)), ("M", (16, 18), (25, 28)), ("L", (18, 20), (28, 31)))


def test_one_size_takes_every_girth() -> None:
    fit = best_fit(SLEEVES, {"wrist": 17, "elbow": 26})
    assert (fit.verdict, fit.size, fit.tied) == (FitVerdict.ONE_SIZE, "M", ())
    assert fit.outside == ()
    assert fit.is_whole


def test_both_ends_of_a_span_are_inside_and_a_shared_end_fits_two_sizes() -> None:
    fit = best_fit(SLEEVES, {"wrist": 16, "elbow": 25})
    assert (fit.verdict, fit.size, fit.tied) == (FitVerdict.SEVERAL, "S", ("M",))


def test_of_several_that_fit_the_one_nearest_its_middle_is_best() -> None:
    wide = chart(("A", (14, 20), (22, 30)), ("B", (16, 18), (25, 28)))
    fit = best_fit(wide, {"wrist": 17, "elbow": 26.5})
    assert (fit.size, fit.tied) == ("B", ("A",))


def test_where_none_fits_the_garment_is_made_to_measure_and_the_places_are_named() -> None:
    fit = best_fit(SLEEVES, {"wrist": 17, "elbow": 29.5})
    assert fit.is_made_to_measure
    # M lacks 1.5 cm at the elbow; L is 1 cm too wide at the wrist, which is nearer.
    assert fit.size == "L"
    assert [(one.place, one.by_cm, one.is_above) for one in fit.outside] == [("wrist", -1, False)]


def test_a_girth_above_its_span_counts_upwards() -> None:
    fit = best_fit(SLEEVES, {"wrist": 19, "elbow": 33.5})
    assert [(one.place, one.by_cm, one.is_above) for one in fit.outside] == [("elbow", 2.5, True)]


def test_a_girth_below_its_span_counts_downwards() -> None:
    fit = best_fit(SLEEVES, {"wrist": 12, "elbow": 23})
    assert [(one.place, one.by_cm) for one in fit.outside] == [("wrist", -2)]
    assert not fit.outside[0].is_above


def test_fewer_places_outside_go_before_a_smaller_sum() -> None:
    two = chart(("A", (14, 16), (22, 25)), ("B", (17, 18), (26, 28)))
    fit = best_fit(two, {"wrist": 16.5, "elbow": 22})
    assert [one.place for one in fit.outside] == ["wrist"]
    assert fit.size == "A"


def test_a_place_without_a_girth_is_named_and_not_judged() -> None:
    fit = best_fit(SLEEVES, {"wrist": 17, "elbow": None})
    assert fit.not_measured == ("elbow",)
    assert not fit.is_whole
    assert fit.size == "M"


def test_without_any_girth_no_size_is_named() -> None:
    with pytest.raises(NothingMeasured):
        best_fit(SLEEVES, {"knee": 30})


def test_a_size_that_lacks_a_place_makes_no_chart() -> None:
    whole = Size("S", (Span("wrist", 14, 16), Span("elbow", 22, 25)))
    with pytest.raises(ChartUneven) as refused:
        SizeChart("uneven", (whole, Size("M", (Span("wrist", 16, 18),))))
    assert (refused.value.size, refused.value.place) == ("M", "elbow")


@given(st.floats(10, 24), st.floats(18, 36))
def test_the_verdict_agrees_with_looking_at_every_size(wrist: float, elbow: float) -> None:
    girths = {"wrist": wrist, "elbow": elbow}
    taking = [
        size.name
        for size in SLEEVES.sizes
        if all(span.from_cm <= girths[span.place] <= span.to_cm for span in size.spans)
    ]
    fit = best_fit(SLEEVES, girths)
    assert fit.is_made_to_measure == (not taking)
    assert {fit.size, *fit.tied} == set(taking) or not taking
    assert bool(fit.outside) == (not taking)
