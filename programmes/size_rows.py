"""A clinic's size chart from a CSV file: what each column holds and how it is read. Pure.

One line for each size and measuring place, sizes in the order in which they grow.
"""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from clinic.common.csv_files import Column, Layout, Problem, Table, read_table
from programmes.compression.size_chart import Size, SizeChart, Span
from programmes.errors import LevelDiffers, SpanBackwards, SpanMissing, SpanRepeated

COLUMNS = (
    Column("size", "the size as the supplier writes it, such as M long", "M"),
    Column("place", "the measuring place in your own words, such as wrist", "wrist"),
    Column(
        "level_cm",
        "how many cm above the chart's start the place lies, such as 12, or nothing",
        "0",
        False,
    ),
    Column("from_cm", "the smallest girth in cm, such as 15.5 or 15,5", "15.5"),
    Column("to_cm", "the largest girth in cm, such as 17", "17"),
)
# More sizes and places than any chart has; keeps a wrong file out. Common practice, no source.
MOST_ROWS = 2000
LONGEST_NAME, LONGEST_SIZE = 60, 40
LONGEST_CM = Decimal(300)
# Digits with at most one decimal mark, a point or a comma.
LENGTH = re.compile(r"\d{1,3}(?:[.,]\d{1,2})?", re.ASCII)


@dataclass(frozen=True)
class SpanRow:
    """One line: the girths in cm that a size takes at one place; level None: not given."""

    line: int
    size: str
    place: str
    level_cm: Decimal | None
    from_cm: Decimal
    to_cm: Decimal


@dataclass(frozen=True)
class ChartRead:
    """The dry run of a file: its rows, and what is wrong with it. Nothing is kept by this."""

    file: Table
    rows: tuple[SpanRow, ...]
    problems: tuple[Problem, ...]

    @property
    def is_ready(self) -> bool:
        return not self.problems and bool(self.rows)

    @property
    def sizes(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(row.size for row in self.rows))

    @property
    def places(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(row.place for row in self.rows))


def read_chart(raw: bytes) -> ChartRead:
    """Every row of a file and every problem in it. Raises FileEmpty, FileNotText, FileTooLong,
    QuotesUnclear, ColumnMissing, ColumnUnknown, ColumnRepeated."""
    table = read_table(raw, LAYOUT)
    rows = tuple(SpanRow(line=line, **values) for line, values in table.rows)
    problems = [*table.problems, *_problems(rows)]
    if not problems:
        problems += _missing(rows)
    return ChartRead(table, rows, tuple(sorted(problems, key=lambda each: each.line)))


def _problems(rows: Sequence[SpanRow]) -> Iterator[Problem]:
    """What is wrong with a row by itself or beside those above it."""
    levels: dict[str, Decimal | None] = {}
    seen: dict[tuple[str, str], int] = {}
    for row in rows:
        if row.to_cm < row.from_cm:
            yield Problem(row.line, SpanBackwards(row.from_cm, row.to_cm), "to_cm", f"{row.to_cm}")
        first = seen.setdefault((row.size, row.place), row.line)
        if first != row.line:
            yield Problem(row.line, SpanRepeated(first), "place", row.place)
        if levels.setdefault(row.place, row.level_cm) != row.level_cm:
            yield Problem(row.line, LevelDiffers(row.place, levels[row.place]), "level_cm", "")


def _missing(rows: Sequence[SpanRow]) -> Iterator[Problem]:
    """Sizes that lack a place which another has, told at the size's last line."""
    places = dict.fromkeys(row.place for row in rows)
    own: dict[str, list[SpanRow]] = {}
    for row in rows:
        own.setdefault(row.size, []).append(row)
    for size, spans in own.items():
        for place in places:
            if place not in {span.place for span in spans}:
                yield Problem(spans[-1].line, SpanMissing(size, place), "place", "")


def chart_from(name: str, rows: Sequence[SpanRow]) -> SizeChart:
    """The pure chart of rows without a problem. Raises ChartUneven."""
    spans: dict[str, list[Span]] = {}
    for row in rows:
        span = Span(row.place, float(row.from_cm), float(row.to_cm))
        spans.setdefault(row.size, []).append(span)
    return SizeChart(name, tuple(Size(size, tuple(own)) for size, own in spans.items()))


def _length(text: str) -> Decimal:
    if not LENGTH.fullmatch(text):
        raise ValueError(text)
    length_cm = Decimal(text.replace(",", "."))
    if length_cm > LONGEST_CM:
        raise ValueError(text)
    return length_cm


def _girth(text: str) -> Decimal:
    girth_cm = _length(text)
    if not girth_cm:
        raise ValueError(text)
    return girth_cm


def _level(text: str) -> Decimal | None:
    """A level to a tenth of a centimetre; nothing typed is None."""
    level_cm = _length(text) if text else None
    if level_cm is not None and level_cm != round(level_cm, 1):
        raise ValueError(text)
    return level_cm


def _named(longest: int) -> Callable[[str], str]:
    def named(text: str) -> str:
        if len(text) > longest:
            raise ValueError(text)
        return " ".join(text.split())

    return named


READERS: dict[str, Callable[[str], object]] = {
    "size": _named(LONGEST_SIZE),
    "place": _named(LONGEST_NAME),
    "level_cm": _level,
    "from_cm": _girth,
    "to_cm": _girth,
}
LAYOUT = Layout(COLUMNS, READERS, MOST_ROWS)
