"""Past girths from a CSV file: bytes to text to rows, each wrong cell with its line. Pure."""

import csv
import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal
from functools import lru_cache
from io import StringIO
from typing import Any

from clinic.common.errors import RuleBroken
from clinic.common.vocabulary import Limb, Posture, Side, Word
from measurements.errors import (
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
    RowTooLong,
)
from measurements.limb.girth import MOST_TRIALS
from measurements.typed_numbers import length_typed, number_typed, weight_typed


@dataclass(frozen=True)
class Column:
    """A column of the file: its name, what belongs in it, whether a session can do without."""

    name: str
    expected: str
    example: str
    is_required: bool = True


COLUMNS = (
    Column("taken_on", "the day as year-month-day, such as 2025-03-04", "2025-03-04"),
    Column("time", "the time of day as 09:30, or nothing", "09:30", False),
    Column("limb", "arm or leg", "arm"),
    Column("side", "left or right", "right"),
    Column("level_cm", "the tape position in cm above the protocol's start, such as 12", "0"),
    Column("trial", "1, 2 or 3; nothing means 1", "1", False),
    Column("girth_cm", "the girth in cm, such as 24.5 or 24,5", "18.2"),
    Column("weight_kg", "the body weight in kg, once a session, or nothing", "70.5", False),
    Column("posture", "sitting, lying or standing, once a session", "sitting", False),
    Column("protocol", "the exact name of a protocol, once a session", "", False),
    Column("note", "at most 300 letters, once a session, or nothing", "", False),
)
EXPECTED = {column.name: column.expected for column in COLUMNS}
REQUIRED = [column.name for column in COLUMNS if column.is_required]

# More than any practice has of one client; keeps a wrong file from filling the database.
MOST_ROWS = 100_000
LONGEST_CELL = 300

# A spreadsheet may run a cell that begins so: OWASP, "CSV Injection"; from memory, not re-read.
COULD_RUN = ("=", "+", "-", "@", "\t", "\r")

SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}


@dataclass(frozen=True)
class Problem:
    """What is wrong in one line of the file; `column` and `found` where one cell is to blame."""

    line: int
    error: RuleBroken
    column: str = ""
    found: str = ""


@dataclass(frozen=True)
class PastRow:
    """One girth of a past session. Lengths in cm, weight in kg; None and "" mean not given."""

    line: int
    taken_on: date
    taken_at: time | None
    limb: Limb
    side: Side
    level_cm: Decimal
    trial: int
    girth_cm: Decimal
    weight_kg: Decimal | None
    posture: Posture | None
    protocol: str
    note: str


@dataclass(frozen=True)
class FileRead:
    """A file's rows and what is wrong with the others, and how the bytes were understood."""

    rows: tuple[PastRow, ...]
    problems: tuple[Problem, ...]
    encoding: str
    separator: str
    row_count: int


def read_file(raw: bytes) -> FileRead:
    """Every row of a file. Raises FileEmpty, FileNotText, FileTooLong, ColumnMissing,
    ColumnUnknown, ColumnRepeated; what is wrong with single rows is in the answer."""
    text, encoding = decoded(raw)
    separator, text = _separator_of(text)
    reader = csv.reader(StringIO(text, newline=""), delimiter=separator)
    rows: list[PastRow] = []
    problems: list[Problem] = []
    count = 0
    try:
        names = _names(next((cells for cells in reader if any(cells)), []))
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            count += 1
            if count > MOST_ROWS:
                raise FileTooLong(MOST_ROWS)
            row, wrong = _read(reader.line_num, names, cells)
            problems += wrong
            rows += [row] if row else []
    except csv.Error as error:
        raise FileNotText(str(error)) from error
    return FileRead(tuple(rows), tuple(problems), encoding, SEPARATORS[separator], count)


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


def _names(header: list[str]) -> list[str]:
    names = [name.strip().lower().replace(" ", "_") for name in header]
    while names and not names[-1]:
        names.pop()
    if unknown := [name for name in names if name not in EXPECTED]:
        raise ColumnUnknown(unknown[0], tuple(EXPECTED))
    if repeated := [name for name, count in Counter(names).items() if count > 1]:
        raise ColumnRepeated(repeated[0])
    if missing := [name for name in REQUIRED if name not in names]:
        raise ColumnMissing(missing[0])
    return names


def _read(line: int, names: list[str], cells: list[str]) -> tuple[PastRow | None, list[Problem]]:
    """One row, or what is wrong with it, cell by cell."""
    if any(cell.strip() for cell in cells[len(names) :]):
        return None, [Problem(line, RowTooLong(len(cells), len(names)))]
    typed = dict(zip(names, cells, strict=False))
    values: dict[str, Any] = {}
    problems = []
    for name in EXPECTED:
        cell = typed.get(name, "")
        try:
            values[name] = _value(name, cell)
        except RuleBroken as error:
            problems.append(Problem(line, error, name, cell[:40]))
    return (None, problems) if problems else (_row(line, values), [])


def _row(line: int, values: Mapping[str, Any]) -> PastRow:
    return PastRow(line=line, taken_at=values["time"], **{k: values[k] for k in SAME_NAMES})


SAME_NAMES = [name for name in EXPECTED if name != "time"]


@lru_cache(maxsize=20_000)
def _value(name: str, cell: str) -> Any:
    """A cell's value. Raises the errors of a single cell."""
    text = cell.strip()
    if cell.startswith(COULD_RUN) or text.startswith(COULD_RUN):
        raise CellCouldRun(text[:1])
    if len(text) > LONGEST_CELL:
        raise CellTooLong(LONGEST_CELL)
    if not text and name in REQUIRED:
        raise CellEmpty(EXPECTED[name])
    try:
        return READERS[name](text)
    except ValueError as error:
        raise CellWrong(EXPECTED[name]) from error


def _day(text: str) -> date:
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", text, re.ASCII):
        raise ValueError(text)
    return date.fromisoformat(text)


def _time(text: str) -> time | None:
    if text and not re.fullmatch(r"\d{1,2}:\d{2}(?::\d{2})?", text, re.ASCII):
        raise ValueError(text)
    return time.fromisoformat(text.zfill(5)) if text else None


def _word(words: type[Word]) -> Callable[[str], Word]:
    return lambda text: words(text.lower())


def _trial(text: str) -> int:
    trial = int(text or "1")
    if not 1 <= trial <= MOST_TRIALS:
        raise ValueError(text)
    return trial


def _level(text: str) -> Decimal:
    level_cm = number_typed(text)
    if level_cm != round(level_cm, 1):
        raise ValueError(text)
    return level_cm


READERS: dict[str, Callable[[str], Any]] = {
    "taken_on": _day,
    "time": _time,
    "limb": _word(Limb),
    "side": _word(Side),
    "level_cm": _level,
    "trial": _trial,
    "girth_cm": length_typed,
    "weight_kg": lambda text: weight_typed(text) if text else None,
    "posture": lambda text: Posture(text.lower()) if text else None,
    "protocol": str,
    "note": str,
}
