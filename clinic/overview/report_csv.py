"""The practice report as a CSV file (RFC 4180): the very values of the page, one line a number."""

import csv
from collections.abc import Iterator
from typing import Any

from clinic.common.csv_files import COULD_RUN
from clinic.overview.practice_report import Figure, Line, PracticeReport, Section
from clinic.overview.report_period import Period
from clinic.overview.small_groups import Count, Middle, Share

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
    words = [_harmless(section.title), _harmless(line.name), line.kind.label]
    return [*words, *days, *_numbers(figure), line.unit.label, _harmless(line.means)]


def _numbers(figure: Figure) -> Iterator[str]:
    """count, of, value, value_to, interval, quartiles; empty where not known or not shown."""
    if isinstance(figure, Count):
        yield from (figure.text.replace(",", ""), *[""] * 7)
    elif isinstance(figure, Share):
        interval = figure.interval
        yield from (figure.count.text.replace(",", ""), figure.of.text.replace(",", ""))
        yield _written(figure.lowest)
        yield "" if figure.percent is not None else _written(figure.highest)
        yield from (_written(interval and interval.low), _written(interval and interval.high))
        yield from ("", "")
    else:
        yield from _of_middle(figure)


def _of_middle(figure: Middle) -> Iterator[str]:
    yield from (figure.count.text.replace(",", ""), "", _written(figure.median), "")
    for bounds in (figure.interval, figure.quartiles):
        yield from (_written(bounds and bounds.low), _written(bounds and bounds.high))


def _written(value: float | None) -> str:
    return "" if value is None else f"{value:.{PLACES}f}"


def _harmless(text: str) -> str:
    """Text that a spreadsheet shows and never runs: OWASP, "CSV Injection"; see COULD_RUN."""
    return f"'{text}" if text.lstrip().startswith(COULD_RUN) else text
