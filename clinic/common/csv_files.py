"""A CSV file as spreadsheets write it: bytes to text to cells, wrong ones with their line. Pure."""

import csv
import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from io import StringIO
from typing import Any

from clinic.common.errors import RuleBroken
from clinic.common.file_errors import (
    CellCouldRun,
    CellEmpty,
    CellTooLong,
    CellWrong,
    ColumnMissing,
    ColumnRepeated,
    ColumnUnknown,
    FileEmpty,
    FileNotText,
    FileTooLong,
    QuotesUnclear,
    RowTooLong,
)

LONGEST_CELL = 300
# A spreadsheet may run a cell that begins so: OWASP, "CSV Injection"; from memory, not re-read.
COULD_RUN = ("=", "+", "-", "@", "\t", "\r")
# In front of such a cell a quotation mark makes it text again; ours write it, ours read it away.
AS_TEXT = "'"
# A number with its country: digits, blanks, brackets, hyphens; no letter, so no function.
PHONE = re.compile(r"\+\d[\d ()./-]*", re.ASCII)
# Begins a file of ours: without it spreadsheets read UTF-8 as an old code page and garble accents.
# RFC 4180 names no encoding, a saved file has lost its charset, and Unicode allows the byte order
# mark as a signature of UTF-8 (The Unicode Standard, 23.8; from memory, not re-read).
SIGNATURE = "\ufeff"
SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}

Values = Mapping[str, Any]


@dataclass(frozen=True)
class Column:
    """A column of a file: its name, what belongs in it, whether a line can do without."""

    name: str
    expected: str
    example: str
    is_required: bool = True
    is_phone: bool = False  # may begin with a plus, which elsewhere could run


@dataclass(frozen=True)
class Problem:
    """What is wrong in one line of a file; `column` and `found` where one cell is to blame."""

    line: int
    error: RuleBroken
    column: str = ""
    found: str = ""


@dataclass(frozen=True)
class Layout:
    """What a file may hold: its columns, how each cell is read, how many lines at most.

    A reader raises ValueError for text that does not belong in its column.
    """

    columns: Sequence[Column]
    readers: Mapping[str, Callable[[str], Any]]
    most_rows: int

    def __hash__(self) -> int:
        return id(self)

    @property
    def names(self) -> list[str]:
        return [column.name for column in self.columns]


@dataclass(frozen=True)
class Table:
    """The lines that were understood, what is wrong with the others, how the bytes were read.

    `unread` holds of each other line the cells that were understood all the same.
    """

    rows: tuple[tuple[int, Values], ...]
    problems: tuple[Problem, ...]
    encoding: str
    separator: str
    row_count: int
    unread: tuple[tuple[int, Values], ...] = ()


def read_table(raw: bytes, layout: Layout) -> Table:
    """Every line of a file as values by column name.

    Raises FileEmpty, FileNotText, FileTooLong, QuotesUnclear, ColumnMissing, ColumnUnknown,
    ColumnRepeated; what is wrong with single lines is in the answer.
    """
    text, encoding = decoded(raw)
    separator, text = _separator_of(text)
    lines = _lines(text, separator)
    names = _names(next((cells for _, cells in lines if any(cells)), []), layout)
    rows: list[tuple[int, Values]] = []
    problems: list[Problem] = []
    unread: list[tuple[int, Values]] = []
    count = 0
    for line, cells in lines:
        if not any(cell.strip() for cell in cells):
            continue
        count += 1
        if count > layout.most_rows:
            raise FileTooLong(layout.most_rows)
        values, wrong = _read(line, names, cells, layout)
        problems += wrong
        (unread if wrong else rows).append((line, values))
    named = SEPARATORS[separator]
    return Table(tuple(rows), tuple(problems), encoding, named, count, tuple(unread))


def _lines(text: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    """The cells of each line, and where it begins, for a quoted cell may go on over several.

    Strict, because a quotation mark that is never closed would swallow every line after it.
    """
    reader = csv.reader(StringIO(text, newline=""), delimiter=separator, strict=True)
    begins = 1
    try:
        for cells in reader:
            yield begins, cells
            begins = reader.line_num + 1
    except csv.Error as error:
        raise QuotesUnclear(begins) from error


def decoded(raw: bytes) -> tuple[str, str]:
    """The text of a file and the encoding it was read in. Raises FileEmpty, FileNotText."""
    if not raw.strip():
        raise FileEmpty
    for encoding, name in _encodings(raw):
        try:
            text = raw.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text, name
    raise FileNotText("spreadsheet" if raw.startswith((b"PK", b"\xd0\xcf")) else "")


def _encodings(raw: bytes) -> Iterator[tuple[str, str]]:
    """The encodings a file may be in, likeliest first."""
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        yield "utf-16", "UTF-16"
    half = len(raw) / 2
    if raw[1::2].count(0) > half / 2:
        yield "utf-16-le", "UTF-16"
    if raw[0::2].count(0) > half / 2:
        yield "utf-16-be", "UTF-16"
    if not raw.startswith((b"PK", b"\xd0\xcf")):
        yield "utf-8-sig", "UTF-8"
        yield "cp1252", "Windows-1252"


def _separator_of(text: str) -> tuple[str, str]:
    """The separator and the text from its header on; a first line "sep=;" names it."""
    if named := re.match(r"sep=([,;\t])(?=[\r\n])", text):
        return named[1], text[named.end() :]  # an empty line stays, so line numbers are the file's
    first = re.split(r"\r\n|\r|\n", text.lstrip(), maxsplit=1)[0]
    counts = Counter(sign for sign in first if sign in SEPARATORS)
    return (counts.most_common(1)[0][0] if counts else ","), text


def _names(header: list[str], layout: Layout) -> list[str]:
    names = ["_".join(name.lower().split()) for name in header]  # of any blanks: no-break too
    while names and not names[-1]:
        names.pop()
    if unknown := [name for name in names if name not in layout.names]:
        raise ColumnUnknown(tuple(unknown), tuple(layout.names))
    if repeated := [name for name, count in Counter(names).items() if count > 1]:
        raise ColumnRepeated(repeated[0])
    required = [column.name for column in layout.columns if column.is_required]
    if missing := [name for name in required if name not in names]:
        raise ColumnMissing(missing[0])
    return names


def _read(
    line: int, names: list[str], cells: list[str], layout: Layout
) -> tuple[Values, list[Problem]]:
    """The values of one line as far as they are understood, and what is wrong with its cells."""
    if any(cell.strip() for cell in cells[len(names) :]):
        return {}, [Problem(line, RowTooLong(len(cells), len(names)))]
    typed = dict(zip(names, cells, strict=False))
    values: dict[str, Any] = {}
    problems = []
    for column in layout.columns:
        cell = typed.get(column.name, "")
        try:
            values[column.name] = _value(layout, column, cell)
        except RuleBroken as error:
            problems.append(Problem(line, error, column.name, cell[:40]))
    return values, problems


def _could_run(cell: str) -> bool:
    return cell.startswith(COULD_RUN) or cell.lstrip().startswith(COULD_RUN)


def harmless(cell: str) -> str:
    """A cell as a file of ours writes it: what a spreadsheet could run stays text."""
    return f"{AS_TEXT}{cell}" if _could_run(cell.lstrip(AS_TEXT)) else cell


def _meant(text: str) -> str:
    """The opposite of `harmless`."""
    return text[1:] if text.startswith(AS_TEXT) and _could_run(text.lstrip(AS_TEXT)) else text


def day_read(text: str) -> date:
    """A day written as year-month-day, 2025-03-04, and no other way. Raises ValueError."""
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text, re.ASCII):
        raise ValueError(text)
    return date.fromisoformat(text)


@lru_cache(maxsize=20_000)
def _value(layout: Layout, column: Column, cell: str) -> Any:
    """A cell's value. Raises the errors of a single cell."""
    text = _meant(cell.strip())
    if _could_run(cell) and not (column.is_phone and PHONE.fullmatch(text)):
        raise CellCouldRun(text[:1])
    if len(text) > LONGEST_CELL:
        raise CellTooLong(LONGEST_CELL)
    if not text and column.is_required:
        raise CellEmpty(column.expected)
    try:
        return layout.readers[column.name](text)
    except ValueError as error:
        raise CellWrong(column.expected) from error
