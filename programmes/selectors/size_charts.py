"""Reads about the clinic's size charts."""

from django.db.models import Count, QuerySet

from clinic.common.vocabulary import Limb
from programmes.compression import size_chart as pure
from programmes.models import SizeChart


def size_charts() -> QuerySet[SizeChart]:
    """Every chart, those in use first, with `size_count` and `place_count`. One query."""
    return SizeChart.objects.annotate(
        size_count=Count("spans__size", distinct=True),
        place_count=Count("spans__place", distinct=True),
    ).order_by("-retired_at", "limb", "name")


def charts_to_choose(limb: Limb) -> QuerySet[SizeChart]:
    """The charts in use for a kind of limb, with their spans. Two queries."""
    found = SizeChart.objects.filter(retired_at=None, limb=limb)
    return found.prefetch_related("spans")


def charts_with_spans() -> QuerySet[SizeChart]:
    """Every chart with its spans and who imported it. Two queries."""
    return SizeChart.objects.select_related("imported_by").prefetch_related("spans")


def is_name_taken(name: str) -> bool:
    """Whether a chart in use has this name, whatever its capitals. One query."""
    return SizeChart.objects.filter(retired_at=None, name__iexact=name).exists()


def chart_of(kept: SizeChart) -> pure.SizeChart:
    """A kept chart as the pure one. No query if its spans were fetched. Raises ChartUneven."""
    spans: dict[str, list[pure.Span]] = {}
    for each in kept.spans.all():
        span = pure.Span(each.place, float(each.from_cm), float(each.to_cm))
        spans.setdefault(each.size, []).append(span)
    sizes = tuple(pure.Size(size, tuple(own)) for size, own in spans.items())
    return pure.SizeChart(kept.name, sizes)


def levels_of(kept: SizeChart) -> dict[str, float | None]:
    """Place -> its level in cm above the chart's start; None where it has none."""
    return {
        each.place: None if each.level_cm is None else float(each.level_cm)
        for each in kept.spans.all()
    }
