"""The press: HTML of our own templates to a tagged PDF/UA-1, with fonts that come in packages.

Nothing is fetched from a network or from any file that is not listed here. Each app brings its own
style sheets and its own words for what went wrong.
"""

import logging
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from django.contrib.staticfiles import finders

from clinic.common.errors import RuleBroken
from clinic.common.finders import package_file
from clinic.common.vocabulary import Word

try:
    import weasyprint
    from weasyprint.text.fonts import FontConfiguration
    from weasyprint.urls import URLFetcherResponse
except OSError as error:  # Pango or a library beside it is not on this machine
    weasyprint, MISSING = None, str(error)

log = logging.getLogger(__name__)

FONT_SCHEME = "packagedfont:"  # letters only: collectstatic takes other words for a file name
FONTS = {
    "SourceSerifPro-Regular.otf": "font_source_serif_pro",
    "SourceSerifPro-It.otf": "font_source_serif_pro",
    "SourceSerifPro-Semibold.otf": "font_source_serif_pro",
    "SourceSansPro-Regular.otf": "font_source_sans_pro",
    "SourceSansPro-It.otf": "font_source_sans_pro",
    "SourceSansPro-Semibold.otf": "font_source_sans_pro",
    "SourceSansPro-Bold.otf": "font_source_sans_pro",
}
OPTIONS = {"pdf_variant": "pdf/ua-1", "pdf_tags": True}

one_at_a_time = threading.Lock()  # the font configuration is shared


class PrintFault(Word):
    LIBRARY_MISSING = "library_missing", "a system library is missing"
    FAILED = "failed", "the PDF library failed"


class NotPrinted(RuleBroken):
    """No PDF came out. `detail` is for the log and holds no clinical word."""

    def __init__(self, fault: PrintFault, detail: str = "") -> None:
        super().__init__(fault, detail)
        self.fault = fault
        self.detail = detail


@dataclass(frozen=True)
class Press:
    """What every sheet of one kind and paper size is printed with, made once."""

    styles: tuple[Any, ...]
    fonts: Any


def can_print() -> bool:
    """Whether the system libraries for PDF are on this machine."""
    return weasyprint is not None


def pages_of(html: str, press: Press) -> Any:
    """The laid-out document: count its `pages`, then give it to `bytes_of`. Raises NotPrinted."""
    if not can_print():
        raise NotPrinted(PrintFault.LIBRARY_MISSING, MISSING)
    try:
        document = weasyprint.HTML(string=html, url_fetcher=listed_files_only)
        return document.render(stylesheets=press.styles, font_config=press.fonts, **OPTIONS)
    except Exception as error:  # the library's own failures have no common class
        log.exception("A sheet could not be laid out")
        raise NotPrinted(PrintFault.FAILED, type(error).__name__) from error


def bytes_of(pages: Any) -> bytes:
    """The PDF of a laid-out document. Raises NotPrinted."""
    try:
        return bytes(pages.write_pdf(**OPTIONS))
    except Exception as error:
        log.exception("A sheet could not be written as PDF")
        raise NotPrinted(PrintFault.FAILED, type(error).__name__) from error


@cache
def press_for(page_size: str, sheets: Sequence[str]) -> Press:
    """The press for a CSS page size and a tuple of static style sheets. Raises NotPrinted."""
    if not can_print():
        raise NotPrinted(PrintFault.LIBRARY_MISSING, MISSING)
    fonts = FontConfiguration()
    texts = [_style(name) for name in sheets]
    texts.append(f"@page {{ size: {page_size}; }}")
    styles = tuple(
        weasyprint.CSS(string=text, font_config=fonts, url_fetcher=listed_files_only)
        for text in texts
    )
    return Press(styles, fonts)


def _style(name: str) -> str:
    with open(finders.find(name), encoding="utf-8") as file:
        return file.read()


def listed_files_only(url: str) -> Any:
    """The packaged fonts named in FONTS; every other address is refused."""
    name = url.removeprefix(FONT_SCHEME)
    if name == url or name not in FONTS:
        raise ValueError(f"not a file of a printed sheet: {url}")
    return URLFetcherResponse(url, package_file(FONTS[name], name).read_bytes())
