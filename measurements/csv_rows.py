"""Past girths from a CSV file: what each column holds and how it is read. Pure."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal

from clinic.common.csv_files import Column, Layout, Problem, Values, day_read, read_table
from clinic.common.vocabulary import Limb, Posture, Side, Word
from measurements.limb.girth import MOST_TRIALS
from measurements.typed_numbers import check_weight, length_typed, number_typed, weight_typed

COLUMNS = (
    Column("taken_on", "the day as year-month-day, such as 2025-03-04", "2025-03-04"),
    Column("time", "the time of day as 09:30, or nothing", "09:30", False),
    Column("round", "which taping of the limb on that day, 1 or 2; nothing means 1", "1", False),
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

# More than any practice has of one client; keeps a wrong file from filling the database.
MOST_ROWS = 100_000
# More often than anybody tapes a limb on one day; common practice, no source.
MOST_ROUNDS = 99


@dataclass(frozen=True)
class PastRow:
    """One girth of a past session. Lengths in cm, weight in kg; None and "" mean not given."""

    line: int
    taken_on: date
    taken_at: time | None
    round: int
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
    """A file's rows and what is wrong with the others, and how the bytes were understood.

    `unread` holds of each other line the cells that were understood all the same.
    """

    rows: tuple[PastRow, ...]
    problems: tuple[Problem, ...]
    encoding: str
    separator: str
    row_count: int
    unread: tuple[Values, ...] = ()


def read_file(raw: bytes) -> FileRead:
    """Every row of a file. Raises FileEmpty, FileNotText, FileTooLong, QuotesUnclear,
    ColumnMissing, ColumnUnknown, ColumnRepeated; what is wrong with single rows is in the
    answer."""
    table = read_table(raw, LAYOUT)
    rows = tuple(past_row(line, values) for line, values in table.rows)
    unread = tuple(values for _, values in table.unread)
    return FileRead(rows, table.problems, table.encoding, table.separator, table.row_count, unread)


def past_row(line: int, values: Values) -> PastRow:
    """One line's values, read by `READERS`, as a girth."""
    return PastRow(
        line=line, taken_at=values["time"], **{name: values[name] for name in SAME_NAMES}
    )


SAME_NAMES = [name for name in EXPECTED if name != "time"]


def _time(text: str) -> time | None:
    if text and not re.fullmatch(r"\d{1,2}:\d{2}(?::\d{2})?", text, re.ASCII):
        raise ValueError(text)
    return time.fromisoformat(text if text[1:2] != ":" else f"0{text}") if text else None


def _weight(text: str) -> Decimal | None:
    if not text:
        return None
    weight_kg = weight_typed(text)
    check_weight(weight_kg)
    return weight_kg


def _round(text: str) -> int:
    number = int(text or "1")
    if not 1 <= number <= MOST_ROUNDS:
        raise ValueError(text)
    return number


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


READERS: dict[str, Callable[[str], object]] = {
    "taken_on": day_read,
    "time": _time,
    "round": _round,
    "limb": _word(Limb),
    "side": _word(Side),
    "level_cm": _level,
    "trial": _trial,
    "girth_cm": length_typed,
    "weight_kg": _weight,
    "posture": lambda text: Posture(text.lower()) if text else None,
    "protocol": str,
    "note": str,
}
LAYOUT = Layout(COLUMNS, READERS, MOST_ROWS)
