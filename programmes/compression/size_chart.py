"""A clinic's own size chart, and the size that fits a limb best. Girths in cm, unrounded.

Whether a garment fits is seen on the limb: the chart only says which size to try, or that none of
its sizes holds every girth, so that the garment is made to measure.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from clinic.common.vocabulary import Word
from programmes.compression.errors import ChartUneven, NothingMeasured


@dataclass(frozen=True)
class Span:
    """The girths in cm that a size takes at one place, both ends included."""

    place: str
    from_cm: float
    to_cm: float

    def outside_cm(self, girth_cm: float) -> float:
        """How far a girth lies below (negative) or above (positive) the span; 0 inside."""
        if girth_cm < self.from_cm:
            return girth_cm - self.from_cm
        return max(0.0, girth_cm - self.to_cm)

    def off_middle(self, girth_cm: float) -> float:
        """Distance from the middle of the span as a share of half its width; 1 at either end."""
        half_cm = (self.to_cm - self.from_cm) / 2
        off_cm = abs(girth_cm - (self.from_cm + self.to_cm) / 2)
        return off_cm / half_cm if half_cm else off_cm


@dataclass(frozen=True)
class Size:
    """One row of a chart: a size and its span at each place."""

    name: str
    spans: tuple[Span, ...]


@dataclass(frozen=True)
class SizeChart:
    """The sizes of one garment, smallest first, each with the same places.

    Raises ChartUneven for a size that lacks a place.
    """

    name: str
    sizes: tuple[Size, ...]

    def __post_init__(self) -> None:
        for size in self.sizes:
            own = {span.place for span in size.spans}
            for place in self.places:
                if place not in own:
                    raise ChartUneven(size.name, place)

    @property
    def places(self) -> tuple[str, ...]:
        """The measuring places in the chart's order."""
        return tuple(dict.fromkeys(span.place for size in self.sizes for span in size.spans))


class FitVerdict(Word):
    """What the chart says."""

    ONE_SIZE = "one_size", "one size takes every girth"
    SEVERAL = "several", "several sizes take every girth"
    NONE_FITS = "none_fits", "no size takes every girth: made to measure"


@dataclass(frozen=True)
class Outside:
    """A place whose girth a size does not take: by how many cm, below negative, above positive."""

    place: str
    girth_cm: float
    span: Span
    by_cm: float

    @property
    def is_above(self) -> bool:
        return self.by_cm > 0


@dataclass(frozen=True)
class Fit:
    """The best size of a chart for these girths.

    `size` takes every girth, or comes nearest where none does; `tied` are other sizes that do as
    well; `outside` are the places that the best size does not take; `not_measured` those without
    a girth, which no verdict covers.
    """

    verdict: FitVerdict
    size: str
    tied: tuple[str, ...]
    outside: tuple[Outside, ...]
    not_measured: tuple[str, ...]

    @property
    def is_made_to_measure(self) -> bool:
        return self.verdict is FitVerdict.NONE_FITS

    @property
    def is_whole(self) -> bool:
        """Whether every place of the chart was measured."""
        return not self.not_measured


def best_fit(chart: SizeChart, girths_at_places: Mapping[str, float | None]) -> Fit:
    """The size that takes these girths in cm best. Raises NothingMeasured.

    Among sizes that take all, the one whose spans hold the girths nearest their middles; among
    sizes that do not, the one with the fewest places outside, then the smallest sum of distances.
    The earlier (smaller) size goes first in a tie. Rule of our own; common practice, no source.
    """
    girths = {
        place: girth_cm
        for place in chart.places
        if (girth_cm := girths_at_places.get(place)) is not None
    }
    if not girths:
        raise NothingMeasured
    outside = {size.name: tuple(_outside(size, girths)) for size in chart.sizes}
    taking = [size for size in chart.sizes if not outside[size.name]]
    ranked = _by_middle(taking, girths) if taking else _by_distance(chart.sizes, outside)
    best, *others = ranked
    return Fit(
        verdict=_verdict(taking),
        size=best,
        tied=tuple(others) if taking else (),
        outside=outside[best],
        not_measured=tuple(place for place in chart.places if place not in girths),
    )


def _outside(size: Size, girths: Mapping[str, float]) -> Iterator[Outside]:
    for span in size.spans:
        if span.place in girths and (by_cm := span.outside_cm(girths[span.place])):
            yield Outside(span.place, girths[span.place], span, by_cm)


def _verdict(taking: Sequence[Size]) -> FitVerdict:
    if not taking:
        return FitVerdict.NONE_FITS
    return FitVerdict.ONE_SIZE if len(taking) == 1 else FitVerdict.SEVERAL


def _by_middle(sizes: Sequence[Size], girths: Mapping[str, float]) -> list[str]:
    """Sizes that take every girth, the most central first."""

    def off(size: Size) -> float:
        inside = [span for span in size.spans if span.place in girths]
        return sum(span.off_middle(girths[span.place]) for span in inside)

    return [size.name for size in sorted(sizes, key=off)]


def _by_distance(sizes: Sequence[Size], outside: Mapping[str, tuple[Outside, ...]]) -> list[str]:
    """Sizes by how few places fall outside, then by how far in all."""

    def off(size: Size) -> tuple[int, float]:
        found = outside[size.name]
        return len(found), sum(abs(one.by_cm) for one in found)

    return [size.name for size in sorted(sizes, key=off)]
