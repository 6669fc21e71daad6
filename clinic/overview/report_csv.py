"""The practice report as a CSV file (RFC 4180): the very values of the page, one line a number."""

import csv
from typing import Any

from clinic.common.csv_files import harmless
from clinic.overview.practice_report import Figure, Line, PracticeReport, Section
from clinic.overview.report_period import Period
from clinic.overview.report_statistics import Interval
from clinic.overview.small_groups import Count, Middle

COLUMNS = (
    "section",
    "what",
    "kind",
    "from",
    "to",
    "count",
    "of",
    "value",
    "value_to",
    "interval_low",
    "interval_high",
    "quartile_1",
    "quartile_3",
    "unit",
    "meaning",
)
PLACES = 1


def write_report(report: PracticeReport, out: Any) -> None:
    """Into anything that has `write`; this period first, then the one before."""
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for section in report.sections:
        for line in section.lines:
            writer.writerow(_row(section, line, report.period, line.now))
            writer.writerow(_row(section, line, report.previous, line.before))


def _row(section: Section, line: Line, period: Period, figure: Figure) -> list[str]:
    days = [period.from_on.isoformat(), period.to_on.isoformat()]
    words = [harmless(section.title), harmless(line.name), line.kind.label]
    return [*words, *days, *_numbers(figure), line.unit.label, harmless(line.means)]


def _numbers(figure: Figure) -> list[str]:
    """count, of, value, value_to, interval, quartiles; empty where not known or not shown."""
    if isinstance(figure, Count):
        return [_plain(figure), *[""] * 7]
    if isinstance(figure, Middle):
        bounds = [*_bounds(figure.interval), *_bounds(figure.quartiles)]
        return [_plain(figure.count), "", _written(figure.median), "", *bounds]
    value_to = "" if figure.percent is not None else _written(figure.highest)
    counts = [_plain(figure.count), _plain(figure.of)]
    return [*counts, _written(figure.lowest), value_to, *_bounds(figure.interval), "", ""]


def _plain(count: Count) -> str:
    return count.text.replace(",", "")


def _bounds(interval: Interval | None) -> list[str]:
    return [_written(interval.low), _written(interval.high)] if interval else ["", ""]


def _written(value: float | None) -> str:
    return "" if value is None else f"{value:.{PLACES}f}"
