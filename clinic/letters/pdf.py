"""Prints a letter: one tagged page, PDF/UA-1, with fonts that come in packages.

Nothing is fetched from a network or from any file that is not listed here.
"""

import logging
import threading
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from django.contrib.staticfiles import finders
from django.template.loader import render_to_string

from clinic.accounts.models import PaperSize
from clinic.common.finders import package_file
from clinic.letters.errors import Fault, LetterNotPrinted, LetterTooLong
from clinic.letters.sheet import Sheet, longest_texts

try:
    import weasyprint
    from weasyprint.text.fonts import FontConfiguration
    from weasyprint.urls import URLFetcherResponse
except OSError as error:  # Pango or a library beside it is not on this machine
    weasyprint, MISSING = None, str(error)

log = logging.getLogger(__name__)

FONT_SCHEME = "packaged-font:"
FONTS = {
    "SourceSerifPro-Regular.otf": "font_source_serif_pro",
    "SourceSerifPro-It.otf": "font_source_serif_pro",
    "SourceSerifPro-Semibold.otf": "font_source_serif_pro",
    "SourceSansPro-Regular.otf": "font_source_sans_pro",
    "SourceSansPro-Semibold.otf": "font_source_sans_pro",
}
STYLES = ("css/letter_sheet.css", "css/letter_print.css")
PAGE_SIZE = {PaperSize.A4: "A4", PaperSize.LETTER: "letter"}

# Tried in this order until the letter fits on one page.
TYPE_SIZES = ("", "sheet-close", "sheet-close sheet-compact")

_one_at_a_time = threading.Lock()  # the font configuration is shared


@dataclass(frozen=True)
class Press:
    """What every letter of one paper size is printed with, made once."""

    styles: tuple[Any, ...]
    fonts: Any


def can_print() -> bool:
    """Whether the system libraries for PDF are on this machine."""
    return weasyprint is not None


def letter_pdf(sheet: Sheet) -> bytes:
    """The letter as a PDF of one page.

    Raises LetterTooLong when it does not fit in the smallest type, LetterNotPrinted when a
    library is missing or fails.
    """
    if not can_print():
        raise LetterNotPrinted(Fault.LIBRARY_MISSING, MISSING)
    try:
        with _one_at_a_time:
            return _printed(sheet)
    except LetterNotPrinted:
        raise
    except Exception as error:  # the library's own failures have no common class
        log.exception("A letter could not be printed")
        raise LetterNotPrinted(Fault.FAILED, type(error).__name__) from error


def letter_html(sheet: Sheet, type_size: str = "") -> str:
    return render_to_string("letters/print.html", {"sheet": sheet, "type_size": type_size})


def _printed(sheet: Sheet) -> bytes:
    press = press_for(PaperSize(sheet.summary.letterhead.paper_size))
    for type_size in TYPE_SIZES:
        pages = laid_out(letter_html(sheet, type_size), press)
        if len(pages.pages) == 1:
            return bytes(pages.write_pdf(**OPTIONS))
    raise LetterTooLong(len(pages.pages), longest_texts(sheet.texts))


OPTIONS = {"pdf_variant": "pdf/ua-1", "pdf_tags": True}


def laid_out(html: str, press: Press) -> Any:
    document = weasyprint.HTML(string=html, url_fetcher=listed_files_only)
    return document.render(stylesheets=press.styles, font_config=press.fonts, **OPTIONS)


@cache
def press_for(paper: PaperSize) -> Press:
    fonts = FontConfiguration()
    texts = [_style(name) for name in STYLES]
    texts.append(f"@page {{ size: {PAGE_SIZE[paper]}; }}")
    styles = tuple(
        weasyprint.CSS(string=text, font_config=fonts, url_fetcher=listed_files_only)
        for text in texts
    )
    return Press(styles, fonts)


def _style(name: str) -> str:
    return Path(str(finders.find(name))).read_text(encoding="utf-8")


def listed_files_only(url: str) -> Any:
    """The packaged fonts named in FONTS; every other address is refused."""
    name = url.removeprefix(FONT_SCHEME)
    if name == url or name not in FONTS:
        raise ValueError(f"not a file of the letter: {url}")
    return URLFetcherResponse(url, package_file(FONTS[name], name).read_bytes())
