"""What a person can mend about a file to be imported. Pure: standard library only.

RuleBroken
└── FileError
    ├── FileEmpty, FileNotText, FileTooLong, FileTooLarge, FileForgotten     the file as a whole
    ├── QuotesUnclear                                                       where its cells end
    ├── ColumnMissing, ColumnUnknown, ColumnRepeated                        its header
    └── RowTooLong, CellCouldRun, CellTooLong, CellEmpty, CellWrong         one line
"""

from collections.abc import Sequence
from dataclasses import dataclass

from clinic.common.errors import RuleBroken


class FileError(RuleBroken):
    """A rule about a file to be imported."""

    field = "file"


class FileEmpty(FileError):
    """Nothing in it."""


@dataclass(eq=False)
class FileNotText(FileError):
    """Bytes that are no text in any encoding known; `looks_like` a spreadsheet, or unknown."""

    looks_like: str


@dataclass(eq=False)
class FileTooLong(FileError):
    """More rows than one import takes."""

    limit: int


@dataclass(eq=False)
class FileTooLarge(FileError):
    """More bytes than one import takes."""

    limit_mb: int


class FileForgotten(FileError):
    """What was checked did not come back whole, or too late, or for another person or page."""


@dataclass(eq=False)
class QuotesUnclear(FileError):
    """A quotation mark that is never closed, or closed before its cell ends."""

    line: int


@dataclass(eq=False)
class ColumnMissing(FileError):
    """A column the file cannot do without."""

    column: str


@dataclass(eq=False)
class ColumnUnknown(FileError):
    """Columns nobody knows what to do with."""

    columns: Sequence[str]
    known: Sequence[str]


@dataclass(eq=False)
class ColumnRepeated(FileError):
    """A column that is there twice."""

    column: str


@dataclass(eq=False)
class RowTooLong(FileError):
    """More cells than the header has."""

    count: int
    expected: int


@dataclass(eq=False)
class CellCouldRun(FileError):
    """A cell that a spreadsheet could run as a formula."""

    sign: str


@dataclass(eq=False)
class CellTooLong(FileError):
    """More letters than are kept."""

    limit: int


@dataclass(eq=False)
class CellEmpty(FileError):
    """Nothing where something is needed."""

    expected: str


@dataclass(eq=False)
class CellWrong(FileError):
    """Not what belongs in the column."""

    expected: str
