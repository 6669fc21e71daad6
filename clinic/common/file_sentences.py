"""A fault of a file to be imported as the sentence that a person reads."""

from collections.abc import Callable
from typing import Any

from clinic.common import file_errors
from clinic.common.errors import RuleBroken


def _not_text(error: file_errors.FileNotText) -> str:
    if error.looks_like == "spreadsheet":
        return "This is a spreadsheet, not a CSV file. Save it as CSV there, then choose that file."
    return "This file is not readable as text. Save it as CSV in UTF-8 and choose it again."


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
    file_errors.ColumnUnknown: lambda error: (
        f"The first line names a column “{error.column[:30]}” that is not known. Known are:"
        f" {', '.join(error.known)}."
    ),
    file_errors.ColumnRepeated: lambda error: (
        f"The first line names the column “{error.column}” twice. Keep one."
    ),
    file_errors.RowTooLong: lambda error: (
        f"{error.count} cells, and the first line names {error.expected}. If decimals are written"
        " with commas, separate the columns with semicolons or put quotation marks around them."
    ),
    file_errors.CellCouldRun: lambda error: (
        f"Begins with “{error.sign.strip() or 'a tab'}”, which a spreadsheet could run as a"
        " formula. Write it without; no cell may begin with = + - @."
    ),
    file_errors.CellTooLong: lambda error: f"Longer than {error.limit} letters. Shorten it.",
    file_errors.CellEmpty: lambda error: f"Empty. Expected: {error.expected}.",
    file_errors.CellWrong: lambda error: f"Not readable here. Expected: {error.expected}.",
}
