"""Writes about the clinic's size charts: import, retire."""

from django.db import IntegrityError, transaction
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit import services as audit
from programmes.errors import ChartNameTaken, ChartRefused
from programmes.models import SizeChart, SizeChartSpan
from programmes.size_rows import read_chart


@transaction.atomic
def import_size_chart(*, chart: SizeChart, raw: bytes, by: User) -> SizeChart:
    """Keep every line of a file as a chart, or nothing.

    Raises ChartRefused with the report where the file has problems, ChartNameTaken, and the
    FileErrors of the file as a whole.
    """
    report = read_chart(raw)
    if not report.is_ready:
        raise ChartRefused(report)
    chart.imported_by = by
    try:
        with transaction.atomic():
            chart.save(force_insert=True)
    except IntegrityError as error:
        raise ChartNameTaken from error
    SizeChartSpan.objects.bulk_create(
        SizeChartSpan(
            chart=chart,
            order=order,
            size=row.size,
            place=row.place,
            level_cm=row.level_cm,
            from_cm=row.from_cm,
            to_cm=row.to_cm,
        )
        for order, row in enumerate(report.rows)
    )
    audit.record(by, "size_chart.imported", subject=chart)
    return chart


@transaction.atomic
def retire_size_chart(*, chart: SizeChart, by: User) -> SizeChart:
    """Offer a chart no longer. Retiring it twice changes nothing."""
    stored = SizeChart.objects.select_for_update().get(pk=chart.pk)
    if stored.retired_at is None:
        stored.retired_at = timezone.now()
        stored.save(update_fields=["retired_at"])
        audit.record(by, "size_chart.retired", subject=stored)
    return stored
