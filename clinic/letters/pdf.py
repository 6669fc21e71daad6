"""Prints a letter: tagged PDF/UA-1; one page, for a report or discharge summary two at the most."""

from typing import Any

from django.template.loader import render_to_string

from clinic.accounts.models import PaperSize
from clinic.common.print import Press, bytes_of, one_at_a_time, pages_of, press_for
from clinic.letters.errors import LetterTooLong
from clinic.letters.sheet import Sheet, longest_texts

STYLES = ("css/letter_sheet.css", "css/letter_print.css")

# Tried in this order until the letter fits on one page.
TYPE_SIZES = ("", "sheet-close", "sheet-close sheet-compact")
# The last resort: without charts, whose numbers stand in the tables.
BARE = "sheet-close sheet-compact sheet-bare"


def letter_pdf(sheet: Sheet) -> bytes:
    """The letter as PDF bytes, in the largest type in which it takes the fewest pages.

    What fits in no type goes without its charts. Raises LetterTooLong when that does not fit
    either, NotPrinted.
    """
    with one_at_a_time:
        return bytes_of(_laid_out(sheet))


def _laid_out(sheet: Sheet) -> Any:
    press, fitting = press_of(sheet), None
    for type_size in TYPE_SIZES:
        pages = pages_of(letter_html(sheet, type_size), press)
        count = len(pages.pages)
        if count == 1:
            return pages
        if fitting is None and count <= sheet.kind.most_pages:
            fitting = pages
    return _bare(sheet, press) if fitting is None else fitting


def _bare(sheet: Sheet, press: Press) -> Any:
    pages = pages_of(letter_html(sheet, BARE), press)
    count = len(pages.pages)
    if count > sheet.kind.most_pages:
        raise LetterTooLong(count, sheet.kind, longest_texts(sheet))
    return pages


def letter_html(sheet: Sheet, type_size: str = "") -> str:
    return render_to_string("letters/print.html", {"sheet": sheet, "type_size": type_size})


def press_of(sheet: Sheet) -> Press:
    return press_for(PaperSize(sheet.summary.letterhead.paper_size), STYLES)
