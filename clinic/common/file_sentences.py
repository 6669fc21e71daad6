"""A fault of a file to be imported as the sentence that a person reads."""

from collections.abc import Callable
from typing import Any

from clinic.common import file_errors
from clinic.common.errors import RuleBroken

# Columns named in one sentence; a wide spreadsheet has dozens.
MOST_NAMED = 12


def _not_text(error: file_errors.FileNotText) -> str:
    if error.looks_like == "spreadsheet":
        return "This is a spreadsheet, not a CSV file. Save it as CSV there, then choose that file."
    return "This file is not readable as text. Save it as CSV in UTF-8 and choose it again."


def _unknown(error: file_errors.ColumnUnknown) -> str:
    named = ", ".join(f"“{column[:30]}”" for column in error.columns[:MOST_NAMED])
    count = len(error.columns)
    what = f"a column {named} that is" if count == 1 else f"{count} columns that are"
    which = "" if count == 1 else f": {named}"
    return (
        f"The first line names {what} not known{which}. Known are: {', '.join(error.known)}."
        " Rename or delete the others."
    )


FILE_SENTENCES: dict[type[RuleBroken], Callable[[Any], str]] = {
    file_errors.FileEmpty: lambda error: "The file is empty. Choose another one.",
    file_errors.FileNotText: _not_text,
    file_errors.FileTooLong: lambda error: (
        f"More than {error.limit:,} rows. Split the file by year and import the parts."
    ),
    file_errors.FileTooLarge: lambda error: (
        f"Larger than {error.limit_mb} MB. Split the file by year and import the parts."
    ),
    file_errors.FileForgotten: lambda error: (
        "The checked file is no longer at hand, so nothing was saved. Choose the file again."
    ),
    file_errors.ColumnMissing: lambda error: (
        f"The first line has no column “{error.column}”. Add it; the list below says what goes in."
    ),
    file_errors.QuotesUnclear: lambda error: (
        f"In line {error.line} a quotation mark opens a cell and is never closed, or is closed"
        " before the cell ends. Take it out, or write it twice inside the cell."
    ),
    file_errors.ColumnUnknown: _unknown,
    file_errors.ColumnRepeated: lambda error: (
        f"The first line names the column “{error.column}” twice. Keep one."
    ),
    file_errors.RowTooLong: lambda error: (
        f"{error.count} cells, and the first line names {error.expected}. Put quotation marks"
        " around a cell with a comma or semicolon in it; if decimals are written with commas,"
        " separate the columns with semicolons."
    ),
    file_errors.CellCouldRun: lambda error: (
        f"Begins with “{error.sign.strip() or 'a tab'}”, which a spreadsheet could run as a"
        " formula. Write it without; no cell may begin with = + - @."
    ),
    file_errors.CellTooLong: lambda error: f"Longer than {error.limit} letters. Shorten it.",
    file_errors.CellEmpty: lambda error: f"Empty. Expected: {error.expected}.",
    file_errors.CellWrong: lambda error: f"Not readable here. Expected: {error.expected}.",
}
